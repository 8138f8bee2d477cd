"""The base's pages, and the server that shows them. A view: it parses, asks one function of another room, and draws.

For now it serves this computer alone, so nobody signs in; what is on the screen is said by whoever sits at it.
"""

from fieldkit.server.app import create_app
from fieldkit.server.errors import ServerError
from fieldkit.server.serve import serve

__all__ = ["ServerError", "create_app", "serve"]
