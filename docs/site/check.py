"""Refuse a built site that would fetch anything from elsewhere, or that points to nothing.

python docs/site/check.py build/site
"""

from __future__ import annotations

import re
import sys
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote, urlsplit

#: What a browser fetches without being asked: element -> attributes.
FETCHED = {
    "script": ("src",), "img": ("src", "srcset"), "iframe": ("src",), "source": ("src", "srcset"),
    "video": ("src", "poster"), "audio": ("src",), "object": ("data",), "embed": ("src",),
    "image": ("href", "xlink:href"), "use": ("href", "xlink:href"), "input": ("src",),
}  # fmt: skip
#: ``link`` fetches for these; ``canonical`` and the like are words only.
LINKS = {"stylesheet", "icon", "preload", "modulepreload", "prefetch", "manifest", "mask-icon"}
_STYLE = re.compile(r"""(?:url\(\s*|@import\s+)["']?((?:https?:)?//[^"')\s]+)""")
_SCRIPT = re.compile(r"""(?:import\(?|fetch\(|\.src\s*=)\s*["'`]((?:https?:)?//[^"'`]+)""")


class Page(HTMLParser):
    """What one page fetches, points to, and can be pointed at."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.fetched: list[str] = []
        self.pointed: list[str] = []
        self.anchors: set[str] = set()
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Take one element in."""
        held = {k: v or "" for k, v in attrs}
        self.anchors |= {held[k] for k in ("id", "name") if k in held}
        self.fetched += [held[k] for k in FETCHED.get(tag, ()) if k in held]
        if tag == "link" and LINKS & set(held.get("rel", "").split()):
            self.fetched.append(held.get("href", ""))
        if tag == "a" and held.get("href"):
            self.pointed.append(held["href"])
        if "style" in held:
            self.fetched += _STYLE.findall(held["style"])


def faults(site: Path) -> list[str]:
    """Return what is wrong with a site, one sentence each."""
    found: list[str] = []
    pages = {p: Page(p.read_text(encoding="utf-8")) for p in sorted(site.rglob("*.html"))}
    if not pages:
        return [f"there is no page in {site}"]
    for path, page in pages.items():
        name = path.relative_to(site)
        found += [f"{name} fetches {f}" for f in page.fetched if _outside(f)]
        found += [f"{name} fetches {f}" for f in _STYLE.findall(path.read_text(encoding="utf-8"))]
        for target in page.pointed + [f for f in page.fetched if not _outside(f)]:
            parts = urlsplit(target)
            if parts.scheme or parts.netloc or not (parts.path or parts.fragment):
                continue
            meant = (path.parent / unquote(parts.path)).resolve() if parts.path else path.resolve()
            if not meant.exists():
                found.append(f"{name} points to {target}, which is not there")
            elif parts.fragment and meant in pages and path != meant:
                if unquote(parts.fragment) not in pages[meant].anchors:
                    found.append(f"{name} points to {target}: no such place on that page")
            elif parts.fragment and meant == path and unquote(parts.fragment) not in page.anchors:
                found.append(f"{name} points to {target}: no such place on that page")
    for path in sorted(site.rglob("*.css")):
        text = path.read_text(encoding="utf-8", errors="replace")
        found += [f"{path.relative_to(site)} fetches {f}" for f in _STYLE.findall(text)]
    for path in sorted(site.rglob("*.js")):
        text = path.read_text(encoding="utf-8", errors="replace")
        found += [f"{path.relative_to(site)} fetches {f}" for f in _SCRIPT.findall(text)]
    return found


def _outside(target: str) -> bool:
    return bool(re.match(r"\s*(?:https?:)?//", target))


if __name__ == "__main__":
    wrong = faults(Path(sys.argv[1]).resolve())
    print("\n".join(wrong) or "nothing is fetched from elsewhere; every link leads somewhere")
    sys.exit(bool(wrong))
