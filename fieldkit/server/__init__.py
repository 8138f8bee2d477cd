"""What a base shows and answers: its pages, what devices talk to, and the two ports on which it does.

A view: it parses, asks one function of another room, and draws.

Whoever sits at the laptop is the lead and signs in nowhere; from elsewhere it takes TLS, and a token or a password.
"""

from fieldkit.server import qr
from fieldkit.server.address_code import TLS_PORT
from fieldkit.server.app import create_app
from fieldkit.server.authority import Authority
from fieldkit.server.errors import ServerError
from fieldkit.server.reach import Reach, Wifi
from fieldkit.server.serve import Network, serve

__all__ = ["TLS_PORT", "Authority", "Network", "Reach", "ServerError", "Wifi", "create_app", "qr", "serve"]
