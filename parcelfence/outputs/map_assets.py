"""Asset addresses of a rendered map replaced by the assets themselves, so that the page opens without a connection."""

from __future__ import annotations

import re
from base64 import b64encode
from pathlib import Path
from typing import TYPE_CHECKING, Final

from parcelfence.errors import OutputError

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["LEAFLET_VERSION", "asset_store", "inline_assets"]

LEAFLET_VERSION: Final = "1.9.3"
"""The version that folium 0.20 is written for; a test holds folium and the packaged assets to it."""
_LEAFLET: Final = f"https://cdn.jsdelivr.net/npm/leaflet@{LEAFLET_VERSION}/dist/leaflet"
_ONLY_FOR_POPUPS: Final = "https://code.jquery.com/jquery-3.7.1.min.js"
"""What folium links for its own ``Popup`` alone, which these maps do not use."""
_ONLY_FOR_ICON_FONTS: Final = (
    "https://cdn.jsdelivr.net/npm/bootstrap@5.2.2/dist/js/bootstrap.bundle.min.js",
    "https://cdn.jsdelivr.net/npm/bootstrap@5.2.2/dist/css/bootstrap.min.css",
    "https://cdnjs.cloudflare.com/ajax/libs/Leaflet.awesome-markers/2.0.2/leaflet.awesome-markers.js",
    "https://cdnjs.cloudflare.com/ajax/libs/Leaflet.awesome-markers/2.0.2/leaflet.awesome-markers.css",
    "https://netdna.bootstrapcdn.com/bootstrap/3.0.0/css/bootstrap-glyphicons.css",
    "https://cdn.jsdelivr.net/npm/@fortawesome/fontawesome-free@6.2.0/css/all.min.css",
    "https://cdn.jsdelivr.net/gh/python-visualization/folium/folium/templates/leaflet.awesome.rotate.min.css",
)
"""What folium links for ``folium.Icon`` alone, which these maps do not use."""

_LINK: Final = re.compile(
    r"<script\b[^>]*?\bsrc\s*=\s*[\"']?(?P<script>[^\"'\s>]+)[\"']?[^>]*>\s*</script\s*>"
    r"|<link\b[^>]*?\bhref\s*=\s*[\"']?(?P<sheet>[^\"'\s>]+)[\"']?[^>]*>",
    re.IGNORECASE,
)
_CSS_IMAGE: Final = re.compile(r"url\(\s*[\"']?(images/[\w.-]+)[\"']?\s*\)")
_SOURCE_MAP: Final = re.compile(r"^\s*(?://|/\*)[#@] sourceMappingURL=.*$", re.MULTILINE)


def asset_store() -> dict[str, str]:
    """Collect the text of the assets that folium links, by their address; empty for what the page can do without."""
    from xstatic.pkg import leaflet

    folder = Path(leaflet.BASE_DIR)
    sheet = (folder / "leaflet.css").read_text(encoding="utf-8")
    store = dict.fromkeys((*_ONLY_FOR_ICON_FONTS, _ONLY_FOR_POPUPS), "")
    store[f"{_LEAFLET}.js"] = (folder / "leaflet.js").read_text(encoding="utf-8")
    store[f"{_LEAFLET}.css"] = _CSS_IMAGE.sub(lambda found: f"url({_data_address(folder / found[1])})", sheet)
    return store


def inline_assets(html: str, store: Mapping[str, str]) -> str:
    """Put scripts and style sheets into the page in place of their addresses.

    Parameters
    ----------
    html : str
        A page as branca renders it.
    store : mapping of str to str
        Text of each asset by its address; an empty text drops the link.

    Returns
    -------
    str
        The page without any linked script or style sheet.

    Raises
    ------
    OutputError
        If the page links an address that the store does not hold, or an asset cannot stand in a page.
    """
    unknown = sorted({address for link in _LINK.finditer(html) if (address := _address(link)) not in store})
    if unknown:
        raise OutputError(
            "map: the page links assets that are not at hand: " + ", ".join(unknown) + ". "
            "It would not open without a connection. Add their text to the asset store, or leave out the map plug-in "
            "that links them."
        )
    return _LINK.sub(lambda link: _element(link, store[_address(link)]), html)


def _address(link: re.Match[str]) -> str:
    return str(link["script"] or link["sheet"])


def _element(link: re.Match[str], text: str) -> str:
    tag = "script" if link["script"] else "style"
    if f"</{tag}" in text.lower():
        raise OutputError(f"map: the asset {_address(link)} holds a closing {tag} tag and cannot stand inside a page.")
    return f"<{tag}>{_SOURCE_MAP.sub('', text).strip()}</{tag}>" if text else ""


def _data_address(image: Path) -> str:
    return f"data:image/{image.suffix.removeprefix('.')};base64,{b64encode(image.read_bytes()).decode('ascii')}"
