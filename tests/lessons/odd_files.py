"""Lesson-like files in every layout that an author may write: made by dice, for what must keep all other bytes."""

from __future__ import annotations

from random import Random

from lessons.lesson.write import BOM

VALUES = [
    "300 mm", "2 diamonds", "1/2", "30 cm", "12 1/2 in", "5'6\"", "1 ft 6 in", "−10 mm", "½ ball", "0.873 overlap",
    "8 sixteenths", "14.5°", "0", "-3.25 mm", "7:30", "no", "017", "~", "a#b", "http://a/b", "grün – ß", "😀 b",
    "it's", "a, b", "[x]", "{y}", "*z", "&q", "!t", "| p", "> q", "% d", "@ e", "` f", "- g", "? h", "",
]  # fmt: skip
NOTES = [
    *[""] * 6,
    "  # why",
    "   #: {odd, [marks]}",
    " # ü – 😀",
    "\t# tab",
    "  #\tinside\t",
    "   ",
    "\t",
    " # 'q\" ]} *a",
]
KEYS = [
    "near",
    "far",
    "a-b",
    "ü",
    "x y",
    "cuts",
    '"quoted key"',
    "'single'",
    '"es\\u00e9"',
    "1/2",
    "300",
    "no",
    "😀",
    "a.b",
]
BETWEEN = ["", "# between", "\t", "   ", "#\ttab", "\t# tabbed"]


class _Writer:
    def __init__(self, dice: Random) -> None:
        self.dice, self.lines, self.anchors, self.step = dice, list[str](), list[str](), dice.choice([1, 2, 4])

    def is_often(self, part: float) -> bool:
        return self.dice.random() < part

    def scalar(self, pad: str) -> str:
        value = self.dice.choice(VALUES)
        if " " in value and self.is_often(0.06):  # folded over two lines
            value = value.replace(" ", f"\n{pad}  ", 1)
        form = self.dice.choice(["plain", "plain", "'", '"'])
        if form == "plain" and value and not set(value) & set("#,[]{}*&!|>%@`?~") and value[0] not in "'\"-":
            return value
        return "'" + value.replace("'", "''") + "'" if form == "'" else '"' + value.replace('"', '\\"') + '"'

    def gap(self, pad: str) -> str:
        """A blank, a new line or a comment within brackets."""
        note = self.dice.choice(["", "", "", "  # note", "\t# tab", " # ]}"])
        return f"{note}\n{pad}  " if note or self.is_often(0.15) else self.dice.choice(["", " "])

    def flow(self, pad: str, depth: int = 0) -> str:
        if self.anchors and self.is_often(0.12):
            return f"*{self.dice.choice(self.anchors)} "
        form = self.dice.choice(["scalar", "scalar", "list", "keys"]) if depth < 3 else "scalar"
        if form == "scalar":
            told = self.scalar(pad)
        elif form == "list":
            parts = [self.flow(pad, depth + 1) for _ in range(self.dice.randrange(4))]
            told = f"[{self.gap(pad)}{f',{self.gap(pad)}'.join(parts)}{self.gap(pad)}]"
        else:
            keys = self.dice.sample(KEYS, self.dice.randrange(4))
            parts = [f"{key}: {self.flow(pad, depth + 1)}" for key in keys]
            told = f"{{{self.gap(pad)}{f' ,{self.gap(pad)}'.join(parts)}{self.gap(pad)}}}"
        return self.anchored(told) if self.is_often(0.1) else told

    def anchored(self, told: str) -> str:
        name = f"a{len(self.anchors)}"
        self.anchors.append(name)
        return f"&{name} {told}"

    def block(self, pad: str, depth: int) -> None:
        for key in self.dice.sample(KEYS, self.dice.randrange(1, 5)):
            blank = " " if key[0] in "'\"" else ""
            head = f"? {key}\n{pad}:" if self.is_often(0.05) else f"{key}{blank}:"
            note = self.dice.choice(NOTES)
            form = self.dice.choice(["flow", "flow", "text", "keys", "items"]) if depth < 3 else "flow"
            if form == "flow":
                self.lines.append(f"{pad}{head} {self.flow(pad)}{note}")
            elif form == "text":
                inner = pad + " " * self.step
                self.lines.append(f"{pad}{head} {self.dice.choice('|>')}\n{inner}some text\n{inner}more: # not\n")
            elif form == "keys":
                self.lines.append(f"{pad}{head}{note}")
                self.block(pad + " " * self.step, depth + 1)
            else:
                self.lines.append(f"{pad}{head}{note}")
                self.items(pad + self.dice.choice(["", " " * self.step]), depth + 1)
            if self.is_often(0.2):
                self.lines.append(self.dice.choice(BETWEEN))

    def items(self, pad: str, depth: int) -> None:
        for _ in range(self.dice.randrange(1, 4)):
            gap = self.dice.choice([" ", "   "])
            if self.is_often(0.6) or depth > 2:
                self.lines.append(f"{pad}-{gap}{self.flow(pad + ' ')}{self.dice.choice(NOTES)}")
            else:  # a mapping begins behind the dash
                at, inner = len(self.lines), f"{pad} {gap}"
                self.block(inner, depth + 1)
                self.lines[at] = f"{pad}-{gap}{self.lines[at][len(inner) :]}"


def odd_file(seed: int) -> bytes:
    """A file of any layout, with any line ends; now and then it is no YAML."""
    dice = Random(seed)
    writer = _Writer(dice)
    writer.block("", 0)
    head = dice.choice(["", "", "# head\n", "---\n", "%YAML 1.1\n---\n", "# a\n---  # doc\n"])
    end = dice.choice(["\n", "\r\n", "\r"])
    text = (head + "\n".join(writer.lines)).replace("\n", end)
    return dice.choice([b"", BOM]) + (text + dice.choice(["", end, 2 * end])).encode()
