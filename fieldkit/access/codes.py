"""Short codes that a person reads from one screen and types into another, with wet hands.

Their 32 letters are Crockford's (Douglas Crockford, "Base 32"): small letters do as well, I and L are read as 1, O as 0, U is
none, and blanks and hyphens mean nothing.
"""

from __future__ import annotations

import secrets

LETTERS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
CODE_LENGTH = 8  # 40 bits: a code lives for minutes and every address has few tries at it
_LOOK_ALIKES = str.maketrans("ILO", "110", " -\u2010\u2011\u2013")


def new_code() -> str:
    """A code that nobody can foresee."""
    return "".join(secrets.choice(LETTERS) for _ in range(CODE_LENGTH))


def as_typed(text: str) -> str | None:
    """The code that somebody meant who typed this; None: it cannot be one."""
    code = text.upper().translate(_LOOK_ALIKES)
    return code if len(code) == CODE_LENGTH and set(code) <= set(LETTERS) else None


def spelt(code: str) -> str:
    """As it is shown: in two groups of four."""
    return f"{code[:4]}-{code[4:]}"
