"""What devices and other bases talk to, as docs/exchange.md says: an application of its own, mounted beside the pages.

It knows no cookies and no forms; who speaks is told by a token alone, so no page of a stranger can borrow anybody's name.
"""

from fieldkit.server.api.app import create_api

__all__ = ["create_api"]
