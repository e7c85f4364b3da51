#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""A second opinion on runs: the words of judge.h and soakledger-plan(5), worked out on whole arrays.

Shares no code with the judge. Where that one streams with bounded memory, this one has every reading before it: sets
of time in which a channel is in, cut with each other. It is slow in comparison and made to be read.

Reads lines "PLAN CSV VISIT" on standard input and writes the same lines as tool_judge, for which see there.
"""

import re
import sys
from fractions import Fraction

import numpy as np

GAP_INTERVALS = 3
LEAST_READINGS = 5
MS_PER_HOUR = 3600000

ROLE_CONTROL, ROLE_LOAD = 0, 1
RAMP, SOAK_LEAST, SOAK_MOST, OVERSHOOT, SPREAD = 1, 2, 3, 4, 5
MET, NOT_PROVEN, NOT_MET = 0, 1, 2
NONE, NO_LOAD, NOT_REACHED, GAP, TOO_FEW, ONE_SENSOR = 0, 2, 3, 4, 5, 6


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
            if kind in ("soak", "temper"):
                visit += 1
        else:
            key, value = line.split("=", 1)
            section[key.strip()] = value.strip()
    return head, operations


# ---- runs ----

class Channel:
    def __init__(self, fields):
        self.id, self.name, self.role = int(fields[0]), fields[1], int(fields[2])
        self.interval, self.heats = int(fields[3]), int(fields[4])
        self.t = self.v = self.all_t = None


def read_run(path):
    """Channels with their readings (repeats of a time left out), and when the run ends."""
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
    return channels, end


def pick_loads(head, channels):
    load = head.get("load", "sensors")
    if load == "sensors":
        return [channel for channel in channels if channel.role == ROLE_LOAD]
    if load == "control":
        return [channel for channel in channels if channel.role == ROLE_CONTROL]
    names = [name.strip() for name in load.split(":", 1)[1].split(",")]
    named = [channel for channel in channels if channel.name in names]
    return named if len(named) == len(names) else []


# ---- sets of time: lists of (from, to), both ends belonging to them ----

def union(begins, ends):
    if not len(begins):
        return []
    order = np.argsort(begins, kind="stable")
    begins, ends = np.asarray(begins, float)[order], np.asarray(ends, float)[order]
    reach = np.maximum.accumulate(ends)
    fresh = np.concatenate(([True], begins[1:] > reach[:-1]))
    firsts = np.flatnonzero(fresh)
    lasts = np.concatenate((firsts[1:] - 1, [len(begins) - 1]))
    return list(zip(begins[firsts].tolist(), reach[lasts].tolist()))


def common(one, other):
    result, i, j = [], 0, 0
    while i < len(one) and j < len(other):
        begin, end = max(one[i][0], other[j][0]), min(one[i][1], other[j][1])
        if begin <= end:
            result.append((begin, end))
        if one[i][1] < other[j][1]:
            i += 1
        else:
            j += 1
    return result


def common_of_all(sets):
    result = sets[0]
    for other in sets[1:]:
        result = common(result, other)
    return result


def longest(stretches):
    best = None
    for stretch in stretches:
        if best is None or stretch[1] - stretch[0] > best[1] - best[0]:
            best = stretch
    return best


# ---- one channel ----

def find_gaps(channel, begin, end):
    """(from, to, last good value or None): every time without a good reading for more than three intervals."""
    limit = GAP_INTERVALS * channel.interval
    t, v = channel.t, channel.v
    if not len(t):
        return [(begin, end, None)] if end - begin > limit else []
    gaps = []
    if t[0] - begin > limit:
        gaps.append((begin, int(t[0]), None))
    for i in np.flatnonzero(np.diff(t) > limit):
        gaps.append((int(t[i]), int(t[i + 1]), int(v[i])))
    if end - t[-1] > limit:
        gaps.append((int(t[-1]), end, int(v[-1])))
    return gaps


def proven_in(channel, edge):
    t, v = channel.t.astype(float), channel.v.astype(float)
    t0, t1, v0, v1 = t[:-1], t[1:], v[:-1], v[1:]
    use = (np.diff(channel.t) <= GAP_INTERVALS * channel.interval) & (np.maximum(v0, v1) >= edge)
    t0, t1, v0, v1 = t0[use], t1[use], v0[use], v1[use]
    steady = np.where(v1 == v0, 1.0, v1 - v0)
    cross = t0 + (edge - v0) / steady * (t1 - t0)
    points = t[v >= edge]
    return union(np.concatenate((np.where(v0 >= edge, t0, cross), points)),
                 np.concatenate((np.where(v1 >= edge, t1, cross), points)))


def reach_time(gap, channel, edge):
    """The first moment of a gap at which the channel could have been at `edge` or above."""
    begin, _, last = gap
    if last is None or last >= edge or channel.heats == 0:
        return begin
    return begin + (edge - last) * MS_PER_HOUR / channel.heats


def possible_in(channel, edge, proven, gaps, end):
    pieces = list(proven)
    for gap in gaps:
        first = reach_time(gap, channel, edge)
        if first <= gap[1]:
            pieces.append((first, gap[1]))
    return union([piece[0] for piece in pieces], [piece[1] for piece in pieces])


# ---- requirements ----

def judge_overshoot(operation, loads, gaps, stretches, possible, edge, limit):
    if not stretches:
        return (NOT_PROVEN, NOT_REACHED, None, 0, 0)
    soak_end, possible_end = stretches[-1][1], possible[-1][1]
    peak, peak_t, peak_channel, doubtful = None, 0, 0, False
    for channel in loads:
        first = proven_in(channel, edge)[0][0]
        within = (channel.t >= first) & (channel.t <= soak_end)
        if within.any():
            at = np.flatnonzero(within)[np.argmax(channel.v[within])]
            value = int(channel.v[at])
            if peak is None or value > peak:
                peak, peak_t, peak_channel = value, int(channel.t[at]), channel.id
        later = (channel.t > soak_end) & (channel.t <= possible_end)
        if later.any() and channel.v[later].max() > limit:
            doubtful = True
        for gap in gaps[channel.id]:
            if reach_time(gap, channel, limit) < min(gap[1], possible_end):
                doubtful = True
    if peak is None:
        return (NOT_PROVEN, TOO_FEW, None, 0, 0)
    if peak > limit:
        outcome = (NOT_MET, NONE)
    else:
        outcome = (NOT_PROVEN, GAP) if doubtful else (MET, NONE)
    return outcome + (peak, peak_t, peak_channel)


def judge_spread(loads, best, limit):
    if len(loads) < 2:
        return (NOT_PROVEN, ONE_SENSOR, None, 0)
    if best is None:
        return (NOT_PROVEN, NOT_REACHED, None, 0)
    pace = max(loads, key=lambda channel: channel.interval)
    moments = pace.t[(pace.t >= best[0]) & (pace.t <= best[1])]
    high = low = pace.v[(pace.t >= best[0]) & (pace.t <= best[1])]
    usable = np.ones(len(moments), bool)
    for channel in loads:
        if channel is pace:
            continue
        at = np.searchsorted(channel.t, moments, side="right") - 1
        usable &= (at >= 0) & (moments - channel.t[at] <= pace.interval)
        high, low = np.maximum(high, channel.v[at]), np.minimum(low, channel.v[at])
    if not usable.any():
        return (NOT_PROVEN, TOO_FEW, None, 0)
    spread = np.where(usable, high - low, -1)
    at = int(np.argmax(spread))
    found = int(spread[at])
    return (NOT_MET if found > limit else MET, NONE, found, int(moments[at]))


def slopes(channel, low, high, window, until):
    """Slopes, in mC/h, of every full window; how many readings each had."""
    t, v = channel.t, channel.v
    count = len(t)
    if not count:
        return np.array([]), np.array([]), np.array([])
    inside = (v >= low) & (v <= high)
    gap_before = np.concatenate(([True], np.diff(t) > GAP_INTERVALS * channel.interval))
    # The first reading of the unbroken row of readings within the temperatures that each reading stands in.
    begins = inside & (gap_before | ~np.concatenate(([False], inside[:-1])))
    row = np.maximum.accumulate(np.where(begins, np.arange(count), 0))
    full = inside & (t - t[row] >= window) & (t <= until)
    last = np.flatnonzero(full)
    first = np.searchsorted(t, t[last] - window, side="left")
    n = last - first + 1

    def summed(x):  # differences of whole-number sums are exact, even if the sums wrapped around
        sums = np.concatenate((np.zeros(1, np.int64), np.cumsum(x)))
        return sums[last + 1] - sums[first]

    origin = t[last]
    st, stt = summed(t), summed(t * t)
    sv, stv = summed(v), summed(t * v)
    dt = st - n * origin
    dtt = stt - 2 * origin * st + n * origin * origin
    dtv = stv - origin * sv
    lower = n.astype(float) * dtt - dt.astype(float) * dt
    upper = n.astype(float) * dtv - dt.astype(float) * sv
    return upper / np.where(lower == 0, 1, lower) * MS_PER_HOUR, n, t[last]


def judge_ramp(operation, loads, gaps, soak_begin):
    low, high = (temperature(part) for part in operation["ramp_between"].split(".."))
    window = duration(operation.get("ramp_window", "5 min"))
    limit = rate(operation["ramp_at_most"])
    best, best_t, few, gap_within, windows = None, 0, False, False, 0
    for channel in loads:
        slope, count, t = slopes(channel, low, high, window, soak_begin)
        enough = count >= LEAST_READINGS
        few |= bool((~enough).any())
        windows += int(enough.sum())
        if enough.any():
            at = int(np.argmax(np.where(enough, slope, -np.inf)))
            if best is None or slope[at] > best:
                best, best_t = float(slope[at]), int(t[at])
        for begin, end, last in gaps[channel.id]:
            if begin > soak_begin:
                continue
            after = channel.v[channel.t >= end]
            after = int(after[0]) if len(after) else last
            before = last if last is not None else after
            if before is None or (min(before, after) <= high and max(before, after) >= low):
                gap_within = True
    found = None if best is None else best
    if best is not None and best > limit:
        return (NOT_MET, NONE, found, best_t, limit)
    if gap_within:
        return (NOT_PROVEN, GAP, found, best_t, limit)
    if few or windows == 0:
        return (NOT_PROVEN, TOO_FEW, found, best_t, limit)
    return (MET, NONE, found, best_t, limit)


# ---- one run ----

class Sheet:
    """What is written about one run."""

    def __init__(self, run):
        self.run, self.lines = run, []

    def verdict(self, operation, requirement, outcome, reason, required, found, possible=None, margin_sign=1):
        known = found is not None
        found = int(round(found)) if known else 0
        possible = found if possible is None else int(round(possible))
        margin = margin_sign * (required - found) if known else 0
        fields = ("verdict", self.run, operation, requirement, outcome, reason, required, int(known), found,
                  possible, margin)
        self.lines.append(",".join(map(str, fields)))

    def soak(self, *facts):
        self.lines.append(",".join(map(str, ("soak", self.run) + tuple(int(round(fact)) for fact in facts))))


def judge(number, plan_path, run_path, visit):
    head, operations = read_plan(plan_path)
    channels, end = read_run(run_path)
    loads = pick_loads(head, channels)
    sheet = Sheet(number)
    soak = next(o for o in operations if o["visit"] == visit and o["kind"] in ("soak", "temper"))
    target = temperature(soak["temperature"])
    edge = target - difference(soak["below"])
    seen = [int(channel.all_t[0]) for channel in loads if len(channel.all_t)]
    begin = min(seen) if seen else end
    gaps = {channel.id: find_gaps(channel, begin, end) for channel in loads}
    proven = [proven_in(channel, edge) for channel in loads]
    possible = [possible_in(channel, edge, own, gaps[channel.id], end) for channel, own in zip(loads, proven)]
    stretches = common_of_all(proven) if loads else []
    maybe = common_of_all(possible) if loads else []
    best, best_maybe = longest(stretches), longest(maybe)
    length = best[1] - best[0] if best else 0
    length_maybe = best_maybe[1] - best_maybe[0] if best_maybe else 0
    soak_begin = stretches[0][0] if stretches else np.inf
    over = None

    for index, operation in enumerate(operations):
        if operation["visit"] != visit:
            continue
        if operation["kind"] == "heat":
            if not loads:
                sheet.verdict(index, RAMP, NOT_PROVEN, NO_LOAD, rate(operation["ramp_at_most"]), None)
                continue
            outcome, reason, found, _, limit = judge_ramp(operation, loads, gaps, soak_begin)
            sheet.verdict(index, RAMP, outcome, reason, limit, found)
            continue
        least = duration(operation["time_at_least"]) + duration(head.get("lag_allowance", "0 s"))
        most = duration(operation["time_at_most"]) if "time_at_most" in operation else None
        above = difference(operation.get("overshoot_at_most", operation["above"]))
        spread = difference(operation["spread_at_most"]) if "spread_at_most" in operation else None
        if not loads:
            for requirement, limit in ((SOAK_LEAST, least), (SOAK_MOST, most), (OVERSHOOT, above), (SPREAD, spread)):
                if limit is not None:
                    sheet.verdict(index, requirement, NOT_PROVEN, NO_LOAD, limit, None)
            continue
        if length >= least:
            answer = (MET, NONE)
        elif length_maybe < least:
            answer = (NOT_MET, NONE if stretches else NOT_REACHED)
        else:
            answer = (NOT_PROVEN, GAP)
        sheet.verdict(index, SOAK_LEAST, *answer, least, length, length_maybe, -1)
        if most is not None:
            answer = (NOT_MET, NONE) if length > most else (MET, NONE) if length_maybe <= most else (NOT_PROVEN, GAP)
            sheet.verdict(index, SOAK_MOST, *answer, most, length, length_maybe)
        over = judge_overshoot(operation, loads, gaps, stretches, maybe, edge, target + above)
        sheet.verdict(index, OVERSHOOT, over[0], over[1], above, None if over[2] is None else over[2] - target)
        if spread is not None:
            outcome, reason, found, _ = judge_spread(loads, best, spread)
            sheet.verdict(index, SPREAD, outcome, reason, spread, found)
    peak = over[2:] if over and over[2] is not None else (0, 0, 0)
    every_gap = [gap for own in gaps.values() for gap in own]
    sheet.soak(stretches[0][0] if stretches else 0, best[0] if best else 0, best[1] if best else 0,
               stretches[-1][1] if stretches else 0, sum(s[1] - s[0] for s in stretches), length_maybe,
               len(stretches), peak[0], peak[1], len(every_gap), sum(gap[1] - gap[0] for gap in every_gap))
    return sheet.lines


def main():
    for number, line in enumerate(sys.stdin):
        plan_path, run_path, visit = line.split()
        print("\n".join(judge(number, plan_path, run_path, int(visit))))


if __name__ == "__main__":
    main()
