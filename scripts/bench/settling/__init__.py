"""Invented boat days whose truth is known, each with one sort of slip; `scripts/bench/settle.py` hands them in."""
