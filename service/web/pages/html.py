"""Templates to HTML, everything escaped unless it is markup of ours; each page with its policy."""

from base64 import b64encode
from hashlib import sha256

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from service.web.shipped import asset

_TEMPLATES = Environment(
    loader=PackageLoader("service.web.pages", "templates"),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)
_TEMPLATES.globals["asset"] = asset


def _coded(text: str) -> Markup:
    """A text of ours in which `what stands between such marks` is set as code."""
    parts = text.split("`")
    return Markup("").join(
        Markup("<code>{}</code>").format(part) if number % 2 else part
        for number, part in enumerate(parts)
    )


_TEMPLATES.filters["coded"] = _coded

PAGE_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "connect-src 'self'; base-uri 'none'; form-action 'self'"
)
"""What a page of ours may load: files of this service, nothing written into the page."""

SWAGGER_POLICY = PAGE_POLICY.replace("style-src 'self'", "style-src 'self' 'unsafe-inline'")
"""The reader of the contract writes style attributes; no page with a client on it loads it."""


def render(name: str, **values: object) -> str:
    """The page of a template. A value that is not there is an error."""
    return _TEMPLATES.get_template(name).render(**values)


def style_of(name: str) -> Markup:
    """A style sheet of ours as it stands between style tags."""
    source, _, _ = _TEMPLATES.loader.get_source(_TEMPLATES, name)  # type: ignore[union-attr]
    return Markup(source)


def inline_policy(style: str) -> str:
    """The policy of a page that carries this one style sheet inside it, and loads nothing."""
    digest = b64encode(sha256(style.encode()).digest()).decode()
    return f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"
