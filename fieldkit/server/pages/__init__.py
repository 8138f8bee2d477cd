"""The pages, one blueprint a subject. A route parses what was asked, calls one function of a room, and draws a template."""

from fieldkit.server.pages import days, matters, photos, survival

BLUEPRINTS = (days.pages, matters.pages, photos.pages, survival.pages)

__all__ = ["BLUEPRINTS"]
