"""The parts of the Promela model that are the same for every plan: variables, what they do, and the session's words."""

from __future__ import annotations

from typing import Final

GIVE_UP, START_OVER, FIRST_ANSWER = 1, 2, 3
NONE: Final = 255
TO_DONE: Final = 254

PAIRS_H: Final = r"""
#ifndef PAIRS_H
#define PAIRS_H
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#define ROOM 1048576u
static unsigned char *pair_rows[ROOM];
static unsigned char fault_kinds[4][256];
static void tell_pairs(void) {
  for (unsigned i = 0; i < ROOM; i++) if (pair_rows[i]) {
    printf("PAIR");
    for (unsigned k = 0; k < FACTS + 1; k++) printf(" %u", pair_rows[i][k]);
    printf("\n");
  }
  for (unsigned kind = 0; kind < 4; kind++) for (unsigned k = 0; k < 256; k++)
    if (fault_kinds[kind][k]) printf("FAULT %u %u\n", kind, k);
}
static void note_pair(unsigned char step, const unsigned char *facts) {
  static int begun = 0;
  unsigned char row[FACTS + 1];
  unsigned h = 2166136261u;
  if (!begun) { begun = 1; atexit(tell_pairs); }
  row[0] = step; memcpy(row + 1, facts, FACTS);
  for (unsigned k = 0; k < FACTS + 1; k++) h = (h ^ row[k]) * 16777619u;
  for (unsigned i = h % ROOM;; i = (i + 1) % ROOM) {
    if (!pair_rows[i]) { pair_rows[i] = malloc(FACTS + 1); memcpy(pair_rows[i], row, FACTS + 1); return; }
    if (!memcmp(pair_rows[i], row, FACTS + 1)) return;
  }
}
static void note_fault(unsigned kind, unsigned char step) { fault_kinds[kind][step] = 1; }
#endif
"""
FAULTS: Final = ("needs", "act", "done")
"""The kinds of fault the model reports, by number."""

HEAD: Final = """\
/* {title} */
c_decl {{
\\#include "pairs.h"
}}
mtype = {{ READY, ASK, HOLD, CONF, LOOK, WAIT, STOP, DEAF, OVER, /* on the way: */ GO, NEXT, BREAK, DOUBT }};
mtype phase = READY;
mtype origin = READY;
byte step;            /* where the run stands */
bool held;            /* the step's hold is over */
byte pend;            /* what was read back: 1 give up, 2 start over, 3 and on: answers */
byte f[{facts}];        /* facts on arrival; 0 is unknown */
bool can_undo;
byte undo_step;
byte undo_f[{facts}];
byte want[{facts}];     /* facts to be looked at again: the value they must show, 0 where none */
byte look = {none};       /* the fact being looked at */
byte at;              /* on the way: the step or look to go to; 254 is done */

inline clear_all() {{
  c_code {{ memset(now.f, 0, FACTS); memset(now.undo_f, 0, FACTS); memset(now.want, 0, FACTS); }};
  can_undo = false; undo_step = 0; held = false; pend = 0; origin = READY; look = {none}; step = 0;
}}
inline ask() {{ phase = ASK; c_code {{ note_pair(now.step, now.f); }} }}
inline restart() {{ clear_all(); at = 0; ask() }}
inline fault_needs() {{ c_code {{ note_fault(0, now.at); }}; assert(false); restart() }}
inline fault_act() {{ c_code {{ note_fault(1, now.at); }}; assert(false); restart() }}
inline fault_done() {{ c_code {{ note_fault(2, now.step); }}; assert(false); restart() }}
inline over() {{ clear_all(); at = 0; phase = OVER }}
inline go(target) {{ at = target; phase = GO }}
inline keep_undo() {{ c_code {{ memcpy(now.undo_f, now.f, FACTS); }}; can_undo = true; undo_step = step }}
inline drop_undo() {{ can_undo = false; undo_step = 0; c_code {{ memset(now.undo_f, 0, FACTS); }} }}
inline drop_begun() {{ held = false; pend = 0; origin = READY }}
"""

BUSY: Final = "(phase == ASK || phase == HOLD || phase == CONF || phase == LOOK)"
SESSION: Final = (
    "phase == READY -> restart()",
    "phase == HOLD -> held = true; phase = ASK",
    "phase == HOLD -> held = false; phase = ASK",
    "phase == CONF -> phase = origin; pend = 0; origin = READY",
    "phase == CONF && pend == 1 -> over()",
    "phase == CONF && pend == 2 -> restart()",
    *(
        f"(phase == ASK || phase == LOOK || phase == WAIT || phase == STOP) -> pend = {n}; origin = phase; phase = CONF"
        for n in (GIVE_UP, START_OVER)
    ),
    f"{BUSY} && origin != STOP -> drop_begun(); phase = WAIT",
    "phase == WAIT && look == 255 -> ask()",
    "phase == WAIT -> phase = BREAK",
    f"({BUSY} || phase == WAIT || phase == STOP || phase == DEAF) -> drop_begun(); phase = STOP",
    "phase == STOP -> phase = BREAK",
    f"({BUSY} && origin != STOP || phase == WAIT) -> drop_begun(); phase = DEAF",
    "phase == DEAF -> phase = BREAK",
    "phase == DEAF -> over()",
    f"({BUSY} && origin != STOP || phase == WAIT || phase == DEAF) -> phase = BREAK",
    f"({BUSY} && origin != STOP || phase == WAIT || phase == DEAF) -> restart()",
    "phase == STOP -> clear_all(); phase = STOP",
)
"""What can happen whatever the procedure: holds, corrections, commands, waits, stops, power, microphone."""
