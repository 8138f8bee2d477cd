"""From a diver's slate to a survival figure: post-outplant monitoring of corals, offline.

The rooms, and which way the arrows point, are drawn in DEVELOPERS.md.
"""

__version__ = "0.1.0"
