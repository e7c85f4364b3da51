# SPDX-License-Identifier: MIT
"""Plans and runs as the second judge reads them."""

import re
from fractions import Fraction

import numpy as np

MS_PER_HOUR = 3600000


# ---- plans ----

def whole(value):
    """To the nearest whole number, halves away from zero."""
    sign = -1 if value < 0 else 1
    return sign * int(abs(value) + Fraction(1, 2))


def split(text):
    number, unit = re.fullmatch(r"\s*([-+]?[0-9]*\.?[0-9]+)\s*(\S+)\s*", text).groups()
    return Fraction(number), unit.replace("°", "")


def temperature(text):
    value, unit = split(text)
    celsius = {"C": value, "F": (value - 32) * Fraction(5, 9), "K": value - Fraction("273.15")}[unit]
    return whole(celsius * 1000)


def difference(text):
    value, unit = split(text)
    return whole(value * (Fraction(5, 9) if unit == "F" else 1) * 1000)


def duration(text):
    each = {"ms": 1, "s": 1000, "min": 60000, "h": MS_PER_HOUR, "d": 24 * MS_PER_HOUR}
    parts = re.findall(r"([0-9]*\.?[0-9]+)\s*(ms|min|s|h|d)", text)
    return whole(sum(Fraction(number) * each[unit] for number, unit in parts))


def rate(text):
    amount, per = text.rsplit("/", 1)
    value, unit = split(amount)
    per_hour = {"h": 1, "min": 60, "s": 3600}[per.strip()]
    return whole(value * (Fraction(5, 9) if unit == "F" else 1) * per_hour * 1000)


def read_plan(path):
    """The [plan] section as a dictionary, and the operations in order, each with its visit."""
    head, operations, section, visit = {}, [], None, 0
    for line in open(path, encoding="utf-8"):
        line = line.strip()
        if not line or line.startswith(";"):
            continue
        if line.startswith("["):
            kind = line.strip("[]").split()[0]
            section = head if kind == "plan" else {"kind": kind, "visit": visit}
            if kind != "plan":
                operations.append(section)
            if kind in ("soak", "temper", "cold"):
                visit += 1
            if kind == "quench":
                section["visit"] = visit - 1
        else:
            key, value = line.split("=", 1)
            section[key.strip()] = value.strip()
    return head, repeat_tempers(operations)


def repeat_tempers(operations):
    """A temper that is done several times stands there so often, with the heats in front of it."""
    repeated, own, later = [], [], 0
    for operation in operations:
        operation["visit"] += later
        own.append(operation)
        if operation["kind"] in ("heat", "hold"):
            continue
        times = int(operation.get("times", 1))
        repeated += [dict(each, visit=each["visit"] + i) for i in range(times) for each in own]
        later += times - 1
        own = []
    return repeated


# ---- runs ----

class Channel:
    def __init__(self, fields):
        self.id, self.name, self.role = int(fields[0]), fields[1], int(fields[2])
        self.interval, self.heats, self.uncertainty = int(fields[3]), int(fields[4]), int(fields[5])
        self.t = self.v = self.all_t = None


def read_run(path):
    """Channels with their readings (repeats of a time left out), when the run begins and when it ends."""
    with open(path, encoding="utf-8") as file:
        text = file.read()
    lines, channels, end, at = [], [], 0, 0
    while True:
        stop = text.index("\n", at)
        line = text[at:stop]
        at = stop + 1
        if line == "readings":
            break
        lines.append(line.split(","))
    for fields in lines:
        if fields[0] == "channel":
            channels.append(Channel(fields[1:]))
        elif fields[0] == "end":
            end = int(fields[1])
    table = np.fromstring(text[at:].replace("\n", ","), dtype=np.int64, sep=",").reshape(-1, 4)
    for channel in channels:
        own = table[table[:, 1] == channel.id]
        if len(own):
            own = own[np.concatenate(([True], np.diff(own[:, 0]) > 0))]
        good = own[own[:, 3] == 0]
        channel.all_t, channel.t, channel.v = own[:, 0], good[:, 0], good[:, 2]
    return channels, int(table[0, 0]) if len(table) else end, end
