"""Reads the pages that the program writes: headings, tables, lists, charts with their bars and points as numbers.

What it reads must be well-formed: every element closed, in order. Nothing in it may run, be loaded, or be styled
beside the style sheet."""
import html.parser
import re

VOID = {"meta", "!doctype"}


class Node:
    def __init__(self, name, attributes, parent):
        self.name, self.attributes, self.parent, self.children = name, dict(attributes), parent, []

    def all(self, name):
        out = []
        for child in self.children:
            if isinstance(child, Node):
                out += ([child] if child.name == name else []) + child.all(name)
        return out

    def text(self):
        return "".join(c if isinstance(c, str) else c.text() for c in self.children)

    def has(self, word):
        return word in self.attributes.get("class", "").split()


class Page(html.parser.HTMLParser):
    def __init__(self, text):
        super().__init__(convert_charrefs=True)
        self.root = self.at = Node("page", {}, None)
        self.feed(text)
        self.close()
        assert self.at is self.root, f"<{self.at.name}> is never closed"

    def handle_starttag(self, name, attributes):
        assert name not in ("script", "link", "img", "iframe", "object"), name
        for key, _ in attributes:
            assert key not in ("style", "src", "href", "xlink:href") and not key.startswith("on"), key
        node = Node(name, attributes, self.at)
        self.at.children.append(node)
        if name not in VOID:
            self.at = node

    def handle_startendtag(self, name, attributes):
        self.handle_starttag(name, attributes)
        if name not in VOID:
            self.handle_endtag(name)

    def handle_endtag(self, name):
        assert self.at.name == name, f"</{name}> ends <{self.at.name}>"
        self.at = self.at.parent

    def handle_data(self, data):
        self.at.children.append(data)

    def charts(self):
        """{caption: Chart}, of figures; of those with two sizes, the one for phones."""
        out = {}
        for figure in self.root.all("figure"):
            out.setdefault(figure.all("figcaption")[0].text(), []).append(Chart(figure.all("svg")[0]))
        return out

    def tables(self):
        """[(heads, rows)], all as texts."""
        return [([h.text() for h in t.all("thead")[0].all("th")],
                 [[c.text() for c in r.children if isinstance(c, Node)] for r in t.all("tbody")[0].all("tr")])
                for t in self.root.all("table")]

    def headings(self):
        return [h.text() for h in self.root.all("h2")]


def number(node, key):
    return float(node.attributes[key])


def tick(label):
    """The number that a label of an axis says: "-2:30" is -2.5."""
    whole, _, minutes = label.lstrip("-").partition(":")
    return (-1 if label.startswith("-") else 1) * (float(whole) + float(minutes or 0) / 60)


class Chart:
    def __init__(self, svg):
        self.svg = svg
        assert svg.attributes["role"] == "img"
        width, height = map(float, svg.attributes["viewbox"].split()[2:])
        self.title, self.what = svg.all("title")[0].text(), svg.all("desc")[0].text()
        assert self.title and self.what
        for text in svg.all("text"):
            assert -1 <= number(text, "x") <= width + 1 and 0 <= number(text, "y") <= height, text.text()

    def texts(self, word=None):
        return [t.text() for t in self.svg.all("text") if word is None or t.has(word)]

    def ticks(self, anchor):
        """[(place, value)] of the axis whose labels stand at `x` or at `y`."""
        labels = [t for t in self.svg.all("text") if t.has("axis") and re.fullmatch(r"-?[\d.]+(:\d\d)?", t.text())]
        if anchor == "y":
            own = [t for t in labels if t.attributes.get("text-anchor") == "end" and self.row_of(t, labels) == 1]
            return [(number(t, "y") - 4, tick(t.text())) for t in own]
        lines = sorted({number(l, "x1") for l in self.svg.all("line") if (l.has("grid") or l.has("base"))
                        and l.attributes["x1"] == l.attributes["x2"]})
        own = [t for t in labels if self.row_of(t, labels) > 1]
        assert len(lines) == len(own), (lines, [t.text() for t in own])
        return list(zip(lines, (tick(t.text()) for t in own)))

    @staticmethod
    def row_of(label, labels):
        return sum(1 for t in labels if t.attributes["y"] == label.attributes["y"])

    def scale(self, anchor):
        """A function from a place in the drawing to a number of the axis, and how much a tenth of a unit is."""
        ticks = self.ticks(anchor)
        (p0, v0), (p1, v1) = ticks[0], ticks[-1]
        per = (v1 - v0) / (p1 - p0)
        return (lambda place: v0 + (place - p0) * per), abs(per) * 0.1

    def bars(self):
        """[(label, figure, width)]: a bar of nothing has width 0."""
        texts = [t for t in self.svg.all("text") if not t.has("axis") and not t.has("mark")]
        rects = {number(r, "y"): number(r, "width") for r in self.svg.all("rect") if r.has("bar")}
        out = []
        for label, figure in zip(texts[::2], texts[1::2]):
            below = [width for y, width in rects.items() if 0 < y - number(label, "y") < 12]
            out.append((label.text(), figure.text(), below[0] if below else 0))
        return out

    def bounds(self):
        return [number(l, "x1") for l in self.svg.all("line") if l.has("bound")]

    def points(self, word, tone=None):
        """[(x, y)] of the axes, of the marks or lines of a look; not those of the key."""
        x_of, _ = self.scale("x")
        y_of, _ = self.scale("y")
        foot = max(number(l, "y1") for l in self.svg.all("line") if l.has("base"))
        out = []
        for path in self.svg.all("path"):
            if not path.has(word) or (tone is not None and not path.has(f"tone-{tone}")):
                continue
            for x, y in re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", path.attributes["d"]):
                if float(y) <= foot + 0.1:
                    out.append((x_of(float(x)), y_of(float(y))))
        return out


PER = {"h": 3600, "h:min": 3600, "min": 60}  # seconds of an axis's unit; of others, 1
UNITS = {"h": 3600, "min": 60, "s": 1, "MB": 1, "Wh": 1, "W": 1, "g": 1, "C": 1, "": 1}


def amount(text):
    """The number that a text says, and how far off rounding may make it: "9 h 32 min" is (34320, 30)."""
    sign = -1 if text.startswith("-") else 1
    parts = re.findall(r"([\d.]+) ?([A-Za-z]*)", text)
    value = sum(float(n) * UNITS[u] for n, u in parts)
    last, unit = parts[-1]
    step = UNITS[unit] * 10.0 ** -(len(last.partition(".")[2]))
    return sign * value, 0.5001 * step
