"""Hitchcall: a spoken step assistant for coupling and uncoupling a tractor and a semi-trailer."""

__version__ = "0.1.0"
