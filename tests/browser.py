"""A real Chromium for the tests of the page, and what is measured in it."""

from __future__ import annotations

import json
import shutil
from importlib import resources
from typing import Any

import pytest

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome") or ""
needs_chromium = pytest.mark.skipif(not CHROMIUM, reason="no Chromium on this machine; ./check installs it")

SIZES = {"small": (800, 480, 133.0), "middle": (1280, 800, 149.0), "large": (1920, 1200, 224.0)}
"""Screens of common tablets: width and height in pixels, pixels an inch (7 inch, 10.1 inch, 10.1 inch)."""

LOOKS = [(name, tall) for name in SIZES for tall in (False, True)]
THEMES = ("night", "day", "dim")


def axe_source() -> str:
    """Return axe-core's script, which a development package carries."""
    return (resources.files("axe_playwright_python") / "axe.min.js").read_text(encoding="utf-8")


PADS = """() => [...document.querySelectorAll('button')].filter((one) => one.offsetParent !== null).map((pad) => {
  const box = pad.getBoundingClientRect();
  return {name: pad.textContent, phrase: pad.dataset.phrase ?? '', x: box.x, y: box.y, w: box.width, h: box.height,
          type: parseFloat(getComputedStyle(pad).fontSize),
          cut: pad.scrollWidth > pad.clientWidth + 1 || pad.scrollHeight > pad.clientHeight + 1};
})"""

# The contrast of every piece of text with what lies behind it, by the formula of WCAG 2.2 (1.4.3).
CONTRASTS = """() => {
  const canvas = document.createElement('canvas').getContext('2d', {willReadFrequently: true});
  const rgba = (text) => { canvas.clearRect(0, 0, 1, 1); canvas.fillStyle = text; canvas.fillRect(0, 0, 1, 1);
    return [...canvas.getImageData(0, 0, 1, 1).data]; };
  const line = (v) => v <= .04045 ? v / 12.92 : ((v + .055) / 1.055) ** 2.4;
  const bright = (c) => { const [r, g, b] = c.map((v) => line(v / 255));
    return .2126 * r + .7152 * g + .0722 * b; };
  const behind = (node) => { for (let at = node; at; at = at.parentElement) {
    const colour = rgba(getComputedStyle(at).backgroundColor);
    if (colour[3] === 255) return colour; } return [255, 255, 255, 255]; };
  const found = [];
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const node = walk.currentNode.parentElement;
    if (!walk.currentNode.textContent.trim() || node.closest('noscript')) continue;
    if (node.classList.contains('unseen')) continue;
    const box = node.getBoundingClientRect(); if (!box.width || !box.height) continue;
    const [one, two] = [rgba(getComputedStyle(node).color), behind(node)].map((c) => bright(c.slice(0, 3)));
    const ratio = (Math.max(one, two) + .05) / (Math.min(one, two) + .05);
    found.push({text: walk.currentNode.textContent.slice(0, 40), ratio});
  }
  return found;
}"""

CUT_OFF = """() => ['sentence', 'hazard', 'band'].map((id) => document.getElementById(id))
  .filter((box) => box.offsetParent !== null)
  .filter((box) => box.clientWidth > 8)  // what only a screen reader gets has no size
  .filter((box) => box.scrollHeight > box.clientHeight + 1 || box.scrollWidth > box.clientWidth + 1)
  .map((box) => box.id)"""


def apart(one: dict[str, Any], two: dict[str, Any]) -> float:
    """Return the distance between two pads in CSS pixels; negative where they overlap."""
    sideways = max(one["x"] - two["x"] - two["w"], two["x"] - one["x"] - one["w"])
    upward = max(one["y"] - two["y"] - two["h"], two["y"] - one["y"] - one["h"])
    if sideways > 0 and upward > 0:
        return float((sideways**2 + upward**2) ** 0.5)
    return float(max(sideways, upward))


def axe_faults(page: Any, source: str) -> list[str]:
    """Return what axe-core finds against WCAG 2.2 A and AA, and AAA contrast, one line each."""
    page.evaluate(source)
    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
    rules = {"color-contrast-enhanced": {"enabled": True}, "target-size": {"enabled": True}}
    result = page.evaluate(f"axe.run(document, {json.dumps({'runOnly': tags, 'rules': rules})})")
    return [f"{one['id']}: {one['nodes'][0]['html'][:120]}" for one in result["violations"]]
