"""Render web pages from templates (Jinja2); this package contains the templates, not the data."""

from __future__ import annotations

from functools import cache
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from jinja2 import Environment


def render(template: str, **content: Any) -> bytes:
    """Render `template` with its content as UTF-8."""
    return f"{_environment().get_template(template).render(content)}\n".encode()


@cache
def _environment() -> Environment:
    from jinja2 import Environment, FileSystemLoader, StrictUndefined
    from markupsafe import Markup

    def escaped(value: Any) -> Markup:
        # Jinja itself escapes quotes differently, and pages are compared byte for byte.
        return Markup(value if isinstance(value, Markup) else escape(str(value)))

    return Environment(
        loader=FileSystemLoader(Path(__file__).parent),
        autoescape=True,
        finalize=escaped,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
