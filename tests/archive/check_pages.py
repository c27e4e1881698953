#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Every page, picture and feed of an archive: well formed, safe without trust in any name, and no link into nothing.

usage: check_pages.py ARCHIVE        one line for each problem; exit status 1 with any, 2 where there is no page at all
"""
import pathlib
import re
import sys
import urllib.parse
import xml.etree.ElementTree as ET
from html.parser import HTMLParser

VOID = {"area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "track", "wbr"}
POLICY = {"default-src": ["'none'"], "style-src": ["'self'", "file:"], "img-src": ["'self'", "file:"],
          "base-uri": ["'none'"], "form-action": ["'none'"]}
HIDDEN = re.compile("[\u202a-\u202e\u2066-\u2069\u200e\u200f\x00-\x08\x0b-\x1f]")  # turns text around, or hides in it
ATOM = "{http://www.w3.org/2005/Atom}"
SVG = "{http://www.w3.org/2000/svg}"
RFC3339 = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z$")


class Page(HTMLParser):
    """One page, read strictly: what is opened is closed, in order."""

    def __init__(self, text):
        super().__init__(convert_charrefs=True)
        self.problems, self.stack, self.ids, self.links, self.headings = [], [], set(), [], []
        self.metas, self.title, self.words = {}, "", ""
        self.tables_without_caption = 0
        self.has_script = False
        self.declaration = None
        self.feed(text)
        self.close()
        for tag in self.stack:
            self.say(f"<{tag}> is never closed")

    def say(self, problem):
        self.problems.append(f"line {self.getpos()[0]}: {problem}")

    def handle_decl(self, declaration):
        self.declaration = declaration

    def handle_starttag(self, tag, attributes):
        if tag not in VOID:
            self.stack.append(tag)
        self.look_at(tag, attributes)

    def handle_startendtag(self, tag, attributes):
        if "svg" not in self.stack:
            self.say(f"<{tag}/> closes itself outside a picture")
        self.look_at(tag, attributes)

    def handle_endtag(self, tag):
        if not self.stack or self.stack[-1] != tag:
            self.say(f"</{tag}> closes {self.stack[-1:] or 'nothing'}")
        else:
            self.stack.pop()

    def handle_data(self, data):
        self.words += data
        if self.stack and self.stack[-1] == "title" and "svg" not in self.stack:
            self.title += data

    def look_at(self, tag, attributes):
        names = [name for name, _ in attributes]
        values = dict(attributes)
        if len(names) != len(set(names)):
            self.say(f"<{tag}> has an attribute twice")
        for name in names:
            if name.startswith("on") or name in ("style", "srcdoc"):
                self.say(f"<{tag}> has {name}=, which the policy blocks")
        if tag == "script" and not (set(names) == {"src", "defer"} and values["src"].endswith("/chart.js")):
            self.say("a script that is not the archive's own")
        self.has_script = self.has_script or tag == "script"
        if tag in ("style", "iframe", "object", "embed", "base", "form"):
            self.say(f"<{tag}> has no place on these pages")
        if values.get("id") in self.ids:
            self.say(f"id '{values['id']}' stands twice")
        if "id" in values:
            self.ids.add(values["id"])
        for name in ("href", "src", "xlink:href", "srcset"):
            if name in values:
                self.links.append((self.getpos()[0], values[name]))
        self.look_at_meaning(tag, values)

    def look_at_meaning(self, tag, values):
        if tag == "html" and not values.get("lang"):
            self.say("<html> has no lang")
        if tag == "meta":
            self.metas[values.get("name") or values.get("http-equiv") or "charset"] = values.get("content", "")
        if tag == "img" and len(values.get("alt") or "") < 10:
            self.say("a picture has no words instead of it")
        if tag == "svg" and not values.get("aria-label"):
            self.say("an inline picture has no label")
        if tag == "th" and values.get("scope") not in ("col", "row"):
            self.say("<th> has no scope")
        if values.get("tabindex") and not (values.get("role") == "region" and values.get("aria-label")):
            self.say("something can be reached by keyboard and does not say what it is")
        if tag == "caption" and self.stack[-2:-1] != ["table"]:
            self.say("<caption> stands outside a table")
        self.tables_without_caption += (tag == "table") - (tag == "caption")
        if re.fullmatch("h[1-6]", tag):
            self.headings.append(int(tag[1]))


def check_page(path, root):
    text = path.read_text(encoding="utf-8")
    page = Page(text)
    yield from page.problems
    if page.declaration != "DOCTYPE html" or not text.startswith("<!DOCTYPE html>"):
        yield "does not begin with <!DOCTYPE html>"
    if not page.title.strip():
        yield "has no title"
    if "viewport" not in page.metas or "color-scheme" not in page.metas or "charset" not in page.metas:
        yield "lacks one of the meta lines charset, viewport, color-scheme"
    policy = {part.split()[0]: part.split()[1:] for part in page.metas.get("Content-Security-Policy", "").split(";") if part.strip()}
    if policy != POLICY | ({"script-src": ["'self'", "file:"]} if page.has_script else {}):
        yield f"another policy than agreed: {policy}"
    if page.headings.count(1) != 1 or any(b - a > 1 for a, b in zip(page.headings, page.headings[1:])):
        yield f"headings are not in order: {page.headings}"
    if page.tables_without_caption:
        yield "a table has no caption"
    if HIDDEN.search(page.words):
        yield "holds characters that hide or turn text around"
    for line, link in page.links:
        problem = check_link(path, link, root)
        if problem:
            yield f"line {line}: {problem}"


def check_link(path, link, root):
    parts = urllib.parse.urlsplit(link)
    if parts.scheme or parts.netloc or link.startswith("/") or not link:
        return f"'{link}' leads out of the archive"
    if link.startswith("#"):
        return None
    target = (path.parent / urllib.parse.unquote(parts.path)).resolve()
    if root not in target.parents:
        return f"'{link}' leads out of the archive"
    return None if target.is_file() else f"'{link}' leads to nothing"


def check_picture(path):
    try:
        top = ET.parse(path).getroot()
    except ET.ParseError as problem:
        yield f"is no XML: {problem}"
        return
    if top.tag != SVG + "svg" or top.find(SVG + "title") is None or top.find(SVG + "desc") is None:
        yield "is no SVG with a title and a description"
        return
    named = set((top.get("aria-labelledby") or "").split())
    ids = [element.get("id") for element in top.iter() if element.get("id")]
    if not named or not named <= set(ids):
        yield "does not say what labels it"
    if len(ids) != len(set(ids)):
        yield "has an id twice"
    if len(top.find(SVG + "desc").text or "") < 20:
        yield "has hardly a description"
    for element in top.iter():
        if element.tag.removeprefix(SVG) in ("script", "foreignObject", "image", "a"):
            yield f"holds <{element.tag.removeprefix(SVG)}>"
        for name, value in element.attrib.items():
            if name.startswith("on") or name == "style":
                yield f"holds {name}="
            if name.endswith("href") and value.removeprefix("#") not in ids:
                yield f"points to '{value}'"
            if re.search(r"nan|inf(?!o)", value, re.I) and name in ("d", "x", "y", "x1", "x2", "y1", "y2", "width", "height"):
                yield f"has no number in {name}='{value[:40]}'"
    for style in top.iter(SVG + "style"):
        if re.search(r"@import|url\((?!#)|https?:", style.text or ""):
            yield "its style looks outside"


def check_feed(path, root):
    try:
        feed = ET.parse(path).getroot()
    except ET.ParseError as problem:
        yield f"is no XML: {problem}"
        return
    ids = []
    for element in [feed] + feed.findall(ATOM + "entry"):
        what = "the feed" if element is feed else "an entry"
        for name in ("id", "title", "updated"):
            found = element.findall(ATOM + name)
            if len(found) != 1 or not (found[0].text or "").strip():
                yield f"{what} needs one {name}"
        ids.append(element.findtext(ATOM + "id"))
        if not RFC3339.match(element.findtext(ATOM + "updated") or ""):
            yield f"{what} was updated at '{element.findtext(ATOM + 'updated')}'"
        if element is not feed and not element.findall(ATOM + "link[@rel='alternate']"):
            yield "an entry leads nowhere"
    if feed.tag != ATOM + "feed" or not feed.findtext(f"{ATOM}author/{ATOM}name"):
        yield "is no feed with an author"
    if len(ids) != len(set(ids)):
        yield "an id stands twice"
    selfs = feed.findall(ATOM + "link[@rel='self']")
    if len(selfs) != 1:
        yield "does not say where it stands"
        return
    base = selfs[0].get("href").removesuffix("feed.atom")
    for link in feed.iter(ATOM + "link"):
        target = link.get("href").removeprefix(base) if base else link.get("href")
        if "://" in target or not (root / target).is_file():
            yield f"'{link.get('href')}' leads to nothing"


def main():
    root = pathlib.Path(sys.argv[1]).resolve()
    checks = {".html": lambda path: check_page(path, root), ".svg": check_picture,
              ".atom": lambda path: check_feed(path, root)}
    looked_at, bad = 0, 0
    for path in sorted(root.rglob("*")):
        if path.suffix not in checks or "originals" in path.parts:
            continue
        looked_at += 1
        for problem in checks[path.suffix](path):
            bad += 1
            print(f"{path.relative_to(root)}: {problem}")
    print(f"{looked_at} pages, pictures and feeds looked at, {bad} problems")
    return 2 if looked_at == 0 else 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
