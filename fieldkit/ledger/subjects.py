"""What an entry speaks of and whom it names, so that it can be found again. Follows from the entry alone; no I/O."""

from __future__ import annotations

from collections.abc import Iterable

from fieldkit.ledger.entry import Entry, is_digest, is_id

# The values under which each kind names the things it speaks of. A planting's row is the coral that comes of it.
_THINGS = {
    "observation": ("plot", "coral"),
    "planting": ("plot", "row"),
    "action": ("plot", "coral"),
    "photo": ("row",),
    "coral": ("coral", "plot"),
    "tag": ("coral",),
    "ruling": ("coral",),
}


def subjects(entry: Entry) -> frozenset[str]:
    """Names of the plots, corals and rows, and of the registered thing, that the entry speaks of, as it calls them."""
    values = entry.values
    names: Iterable[str] = _THINGS.get(entry.kind, (entry.kind,))
    return frozenset([value for name in names if isinstance(value := values.get(name), str)])


def mentions(entry: Entry) -> frozenset[str]:
    """Digests and session ids that the entry replaces, rules upon or redacts, and the import that it takes back."""
    of = entry.values.get("of")
    named = [*entry.replaces, *(of if isinstance(of, list) else [])]
    if entry.kind == "retract":
        named.append(entry.values.get("import"))
    return frozenset(name for name in named if is_digest(name) or is_id(name))
