# SPDX-License-Identifier: MIT
"""read_back [--thorough] [--keep] FOLDER: reads every FOLDER/*.pdf back as a stranger would.

Beside each lies NAME.expected: the paper's width and height in points, then every text that has to stand on it. Checked
with poppler, and every third, or all of them with --thorough, with qpdf and mupdf as well:
- no two words cover each other, none leaves the margins, and no dot of any drawing lies in them;
- every page says "page n of m", and there are m;
- every text is there whole, however it was wrapped: lines that stand below each other at one left edge are joined.
Letters are compared after compatibility normalisation (joined Arabic letters have codes of their own), right-to-left
words in either order, and what no font has as it is said: [U+1F525].
Prints one line a fault; the status is 1 if there was any. What was read without a fault is removed, unless --keep."""
import functools
import os
import re
import subprocess
import sys
import unicodedata
from html import unescape

import numpy

SIDE, HEAD, FOOT = 49.0, 12.0, 12.0
WORD = re.compile(r'<word xMin="([\d.-]+)" yMin="([\d.-]+)" xMax="([\d.-]+)" yMax="([\d.-]+)">(.*?)</word>', re.S)
INVISIBLE = dict.fromkeys([0xAD, *range(0x200B, 0x2010), *range(0x2060, 0x2065), *range(0xFE00, 0xFE10)])
SAID = re.compile(r"[\U00010000-\U0010FFFF\u0900-\u0DFF]+")
MARKS = re.compile("[\u202a-\u202e\u2066-\u2069]")


def run(*command):
    done = subprocess.run(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, check=False)
    return done.stdout, done.stderr.decode("utf-8", "replace"), done.returncode


def said(match):
    return "[" + " ".join(f"U+{ord(letter):04X}" for letter in match.group()) + "]"


@functools.lru_cache(maxsize=None)
def plain(text):
    """What a text is compared by: no blanks, one code for one letter."""
    return re.sub(r"\s+", "", unicodedata.normalize("NFKC", MARKS.sub("", text)))


def turns(text):
    return any(unicodedata.bidirectional(letter) in ("R", "AL") for letter in text)


class Word:
    def __init__(self, match):
        self.left, self.top, self.right, self.bottom = (float(part) for part in match.groups()[:4])
        self.text = unescape(match.group(5))


def read_pages(path):
    out, _, _ = run("pdftotext", "-q", "-bbox", "-enc", "UTF-8", path, "-")
    return [[Word(match) for match in WORD.finditer(page)] for page in out.decode("utf-8").split("<page ")[1:]]


def check_boxes(pages, width, height):
    slack, taller = 0.6, 0.2  # boxes are the font's, taller than the letters
    for number, words in enumerate(pages, 1):
        words.sort(key=lambda word: word.top)
        for i, a in enumerate(words):
            if a.left < SIDE or a.right > width - SIDE + 0.5 or a.top < HEAD or a.bottom > height - FOOT:
                yield f"page {number}: '{a.text}' leaves the margins"
            for b in words[i + 1:]:
                if b.top > a.bottom:
                    break
                high = (a.bottom - a.top) * taller
                if (a.left + slack < b.right and b.left + slack < a.right and a.top + high < b.bottom - high
                        and b.top + high < a.bottom - high):
                    yield f"page {number}: '{a.text}' and '{b.text}' overlap"


def check_numbers(pages):
    for number, words in enumerate(pages, 1):
        text = " ".join(word.text for word in sorted(words, key=lambda word: (word.bottom, word.left)))
        if f"page {number} of {len(pages)}" not in text:
            yield f"page {number} does not say which of {len(pages)} it is"
        if number > 1 and "certificate 7 · revision 2" not in text:
            yield f"page {number} does not say of which certificate"


def lines_of(words):
    """Words that stand side by side with no more than a blank between them."""
    rows = {}
    for word in words:
        rows.setdefault(round((word.top + word.bottom) / 2), []).append(word)
    merged = []
    for middle in sorted(rows):  # two fonts in one line differ a little in height
        if merged and middle - merged[-1][0] <= 2:
            merged[-1][1].extend(rows[middle])
        else:
            merged.append((middle, list(rows[middle])))
    for middle, row in merged:
        row.sort(key=lambda word: word.left)
        line = [row[0]]
        for word in row[1:]:
            if word.left - line[-1].right > 0.62 * (word.bottom - word.top) - 1:
                yield middle, line
                line = []
            line.append(word)
        yield middle, line


class Chain:
    """Lines below each other at one left edge: a text that was wrapped."""

    def __init__(self, left):
        self.left, self.middle, self.parts = left, -1.0, []

    def take(self, middle, text):
        self.middle = middle
        self.parts.append(text)


def chains_of(pages):
    """The texts that may stand on the pages; one that reaches the foot of a page may go on on the next."""
    apart, foot = 18, 150
    carried, done = [], []
    for words in pages:
        active, touched = carried, []
        for middle, line in sorted(lines_of(words), key=lambda pair: pair[0]):
            left = min(word.left for word in line)
            active = [chain for chain in active if chain.middle < 0 or middle - chain.middle < apart]
            for chain in active:
                if abs(chain.left - left) < 1.2 and chain.middle < middle:
                    break
            else:
                chain = Chain(left)
                active.append(chain)
                done.append(chain)
            chain.take(middle, "".join(plain(word.text) for word in line))
            touched.append(chain)
        lowest = max((chain.middle for chain in touched), default=0)
        carried = list(dict.fromkeys(chain for chain in touched if chain.middle > lowest - foot))
        for chain in carried:
            chain.middle = -1.0
    return ["".join(chain.parts) for chain in done]


def check_texts(pages, expected):
    words = {plain(word.text) for page in pages for word in page}
    words |= {plain(word.text[::-1]) for page in pages for word in page}
    whole = "\x00".join(chains_of(pages))
    for text in expected:
        text = SAID.sub(said, text.translate(INVISIBLE)).replace("\\n", "\n")
        if turns(text):
            for part in text.split():
                letters = plain(part).strip("()")
                if turns(letters) and not any(letters in word for word in words):
                    yield f"'{part}' of '{text[:40]}' is not there"
        elif plain(text) not in whole:
            yield f"'{text[:60]}' is not there whole"


def check_dots(path, width, height):
    """Nothing is drawn in the margins, in any colour."""
    dpi = 36
    scale = dpi / 72
    out, _, _ = run("pdftoppm", "-q", "-gray", "-r", str(dpi), path)
    at, number = 0, 0
    while at < len(out):
        number += 1
        head = re.match(rb"P5\s+(\d+)\s+(\d+)\s+255\s", out[at:at + 40])
        wide, high = int(head.group(1)), int(head.group(2))
        at += head.end()
        dots = numpy.frombuffer(out, numpy.uint8, wide * high, at).reshape(high, wide)
        at += wide * high
        side, edge = int((SIDE - 3) * scale), int(10 * scale)
        if abs(wide - width * scale) > 1.5 or abs(high - height * scale) > 1.5:
            yield f"page {number} is {wide / scale} by {high / scale} points"
        if min(dots[:, :side].min(), dots[:, wide - side:].min(), dots[:edge].min(), dots[high - edge:].min()) < 250:
            yield f"page {number} has something drawn in its margins"


def check_readers(path):
    _, errors, status = run("qpdf", "--check", path)
    if status != 0 or "WARNING" in errors:
        yield f"qpdf: {errors.strip()}"
    _, errors, status = run("mutool", "draw", "-q", "-r", "36", "-o", "/dev/null", path)
    errors = errors.replace("warning: ICC support is not available", "").strip()  # how Debian builds it
    if status != 0 or errors:
        yield f"mutool: {errors}"


def check(path, thorough, number):
    with open(path[:-len(".pdf")] + ".expected", encoding="utf-8") as file:
        size, *expected = file.read().rstrip("\n").split("\n")
    width, height = (float(part) for part in size.split())
    pages = read_pages(path)
    yield from check_boxes(pages, width, height)
    yield from check_numbers(pages)
    yield from check_texts(pages, dict.fromkeys(expected))
    if thorough or number % 3 == 0:
        yield from check_dots(path, width, height)
        yield from check_readers(path)


def main():
    folder, thorough, keep = sys.argv[-1], "--thorough" in sys.argv, "--keep" in sys.argv
    status = 0
    names = sorted(name for name in os.listdir(folder) if name.endswith(".pdf"))
    for number, name in enumerate(names):
        path = os.path.join(folder, name)
        faults = list(check(path, thorough, number))
        for fault in faults[:8]:
            print(f"{name}: {fault}")
        if faults:
            status = 1
        elif not keep:
            os.remove(path)
            os.remove(path[:-len(".pdf")] + ".expected")
    sys.exit(status)


if __name__ == "__main__":
    main()
