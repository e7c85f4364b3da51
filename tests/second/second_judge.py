#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""A second opinion on runs: the words of judge.h and soakledger-plan(5), worked out on whole arrays.

Shares no code with the judge. Where that one streams with bounded memory, this one has every reading before it: sets
of time in which a channel is in, cut with each other. It is slow in comparison and made to be read.

Reads lines "PLAN CSV VISIT [BEFORE]" on standard input and writes the same lines as tool_judge, for which see there.
"""

import sys

import numpy as np

from second_quench import QUENCH_FIELDS, UNKNOWN, Curve, equivalent
from second_read import MS_PER_HOUR, difference, duration, rate, read_plan, read_run, temperature

GAP_INTERVALS = 3
LEAST_READINGS = 5
NO_TIME = 0.01  # ms: less than any clock here tells apart

ROLE_CONTROL, ROLE_LOAD, ROLE_QUENCH, ROLE_COLD = 0, 1, 5, 6
RAMP, SOAK_LEAST, SOAK_MOST, OVERSHOOT, SPREAD, LOAD_START, HOLD_LEAST = 1, 2, 3, 4, 5, 6, 7
TRANSFER, COOLING, HANDLE_WARM, EQUIVALENT, BEGIN_WITHIN, PARTS_BELOW, DONE = 8, 9, 10, 11, 12, 13, 14
MET, NOT_PROVEN, NOT_MET = 0, 1, 2
NONE, NO_LOAD, NOT_REACHED, GAP, TOO_FEW, ONE_SENSOR, UNCERTAIN = 0, 2, 3, 4, 5, 6, 9
NO_SENSOR, NO_BEFORE = 8, 10


def pick_loads(head, channels):
    load = head.get("load", "sensors")
    if load == "sensors":
        return [channel for channel in channels if channel.role == ROLE_LOAD]
    if load == "control":
        return [channel for channel in channels if channel.role == ROLE_CONTROL]
    names = [name.strip() for name in load.split(":", 1)[1].split(",")]
    return [channel for channel in channels if channel.name in names]


def is_complete(head, loads):
    named = head.get("load", "sensors").partition(":")[2]
    return len(loads) > 0 and len(loads) >= len([name for name in named.split(",") if name])


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


def proven_above(channel, edge):
    """Crossings are rounded into the stretch: a rise up, a fall down, to the millisecond."""
    t, v = channel.t, channel.v
    t0, t1, v0, v1 = t[:-1], t[1:], v[:-1], v[1:]
    use = (t1 - t0 <= GAP_INTERVALS * channel.interval) & (np.maximum(v0, v1) >= edge)
    t0, t1, v0, v1 = t0[use], t1[use], v0[use], v1[use]
    apart = np.where(v0 == v1, 1, np.abs(v1 - v0))
    way = np.abs(edge - v0) * (t1 - t0)
    points = t[v >= edge]
    return union(np.concatenate((np.where(v0 >= edge, t0, t0 - -way // apart), points)),
                 np.concatenate((np.where(v1 >= edge, t1, t0 + way // apart), points)))


def reach_time(gap, channel, edge):
    """The first moment of a gap at which the channel could have been at `edge` or above."""
    begin, _, last = gap
    if last is None or last >= edge or channel.heats == 0:
        return begin
    return begin + (edge - last) * MS_PER_HOUR / channel.heats


class Turned:
    """A channel upside down. How fast it could have cooled is not known."""

    def __init__(self, channel):
        self.t, self.v, self.interval = channel.t, -channel.v, channel.interval
        self.id, self.heats, self.uncertainty = channel.id, 0, channel.uncertainty


def proven_in(channel, edge, top):
    above = proven_above(channel, edge)
    if top is None:
        return above
    both = common(above, proven_above(Turned(channel), -top))
    # Passing the whole band between two readings is not being in it.
    seen = channel.t[(channel.v >= edge) & (channel.v <= top)]
    return [piece for piece in both if ((seen >= piece[0]) & (seen <= piece[1])).any()]


def possible_in(channel, edge, top, proven, gaps, begin, end):
    """Proven time, gaps as far as the channel could have been in, and the moments before its first and after its last
    reading. A reading below the edge belongs to none of them, so that gaps on both sides of it stay apart."""
    t, v = channel.t, channel.v
    unknown = list(gaps) if len(t) else [(begin, end, None)]
    is_in = v >= edge if top is None else (v >= edge) & (v <= top)
    if len(t) and begin < t[0] and is_in[0]:
        unknown.append((begin, int(t[0]), None))
    if len(t):
        unknown.append((int(t[-1]), end, int(v[-1])))
    out = set(t[~is_in].tolist())
    pieces = list(proven)
    for gap in unknown:
        first, last = reach_time(gap, channel, edge), gap[1]
        first += NO_TIME if first in out else 0
        last -= NO_TIME if last in out else 0
        if first <= last:
            pieces.append((first, last))
    return union([piece[0] for piece in pieces], [piece[1] for piece in pieces])


# ---- requirements ----

def judge_overshoot(loads, gaps, edge, limit):
    peak, peak_t, doubtful, all_crossed, uncertainty = None, 0, False, True, 0
    for channel in loads:
        crossed = np.flatnonzero(channel.v >= edge)
        if len(crossed):
            at = crossed[np.argmax(channel.v[crossed])]
            if peak is None or channel.v[at] > peak:
                peak, peak_t, uncertainty = int(channel.v[at]), int(channel.t[at]), channel.uncertainty
        else:
            all_crossed = False
        doubtful |= any(reach_time(gap, channel, limit) < gap[1] for gap in gaps[channel.id])
    if peak is not None and peak > limit:
        return (NOT_MET, NONE, peak, peak_t, uncertainty)
    if doubtful:
        return (NOT_PROVEN, GAP, peak, peak_t, uncertainty)
    return ((MET, NONE) if all_crossed else (NOT_PROVEN, NOT_REACHED)) + (peak, peak_t, uncertainty)


def judge_spread(loads, best, limit):
    if len(loads) < 2:
        return (NOT_PROVEN, ONE_SENSOR, None)
    if best is None:
        return (NOT_PROVEN, NOT_REACHED, None)
    pace = max(reversed(loads), key=lambda channel: channel.interval)
    within = (pace.t >= best[0]) & (pace.t <= best[1])
    moments = pace.t[within]
    high = low = pace.v[within]
    usable = np.ones(len(moments), bool)
    for channel in loads:
        if channel is pace:
            continue
        # Of readings of the same time, those of the lower id were taken first.
        at = np.searchsorted(channel.t, moments, side="right" if channel.id < pace.id else "left") - 1
        usable &= (at >= 0) & (moments - channel.t[at] <= pace.interval)
        high, low = np.maximum(high, channel.v[at]), np.minimum(low, channel.v[at])
    found = int((high - low)[usable].max()) if usable.any() else None
    if found is not None and found > limit:
        return (NOT_MET, NONE, found)
    return (MET, NONE, found) if usable.sum() >= LEAST_READINGS else (NOT_PROVEN, TOO_FEW, found)


def slope(t, v):
    """Of the line of least squares, in mC/h."""
    t, v = (t - t[0]).astype(float), (v - v[0]).astype(float)
    t -= t.mean()
    return float((t * (v - v.mean())).sum() / (t * t).sum() * MS_PER_HOUR)


def rows_within(channel, low, high, edge):
    """Rows of readings within the temperatures, no gap inside, up to the first crossing of the edge: (first, last,
    whether it left them upwards)."""
    t, v = channel.t, channel.v
    crossed = np.flatnonzero(v >= edge)
    count = int(crossed[0]) + 1 if len(crossed) else len(t)
    inside = (v >= low) & (v <= high)
    broken = np.concatenate(([True], np.diff(t) > GAP_INTERVALS * channel.interval))
    rows, first = [], None
    for i in range(count):
        if first is not None and (broken[i] or not inside[i]):
            rows.append((first, i - 1, bool(v[i] > high) and not broken[i]))
            first = None
        if first is None and inside[i]:
            first = i
    if first is not None:
        rows.append((first, count - 1, False))
    return rows


def channel_slopes(channel, low, high, window, edge):
    """Every slope that counts, and whether a window had too few readings."""
    t, v = channel.t, channel.v
    found, few, full_seen = [], False, False
    for first, last, upwards in rows_within(channel, low, high, edge):
        ends = np.arange(first, last + 1)
        ends = ends[t[ends] - t[first] >= window]
        begins = np.searchsorted(t, t[ends] - window, side="right") - 1
        for begin, end in zip(begins, ends):
            if end - begin + 1 >= LEAST_READINGS:
                found.append(slope(t[begin:end + 1], v[begin:end + 1]))
            else:
                few = True
        full_seen |= len(ends) > 0
        if upwards and not full_seen:
            if last - first + 1 >= LEAST_READINGS:
                found.append(slope(t[first:last + 1], v[first:last + 1]))
            else:
                few = True
    return found, few


def gap_within(channel, gaps, low, high, edge):
    """A gap before the first crossing whose ends are not both below or both above the temperatures."""
    crossed = channel.t[channel.v >= edge]
    for begin, end, before in gaps:
        if len(crossed) and begin >= crossed[0]:
            continue
        after = channel.v[channel.t == end] if end > begin else []
        after = int(after[0]) if len(after) else before
        if before is None and after is None:
            return True
        if before is None:
            if after >= low:
                return True
        elif max(before, after) >= low and min(before, after) <= high:
            return True
    return False


def judge_ramp(operation, loads, gaps, edge):
    low, high = (temperature(part) for part in operation["ramp_between"].split(".."))
    window = duration(operation.get("ramp_window", "5 min"))
    limit = rate(operation["ramp_at_most"])
    every, few, gap, passed = [], False, False, True
    for channel in loads:
        own, own_few = channel_slopes(channel, low, high, window, edge)
        every += own
        few |= own_few or not own
        gap |= gap_within(channel, gaps[channel.id], low, high, edge)
        passed &= bool((channel.v > high).any() or (channel.v >= edge).any())
    found = max(every) if every else None
    if found is not None and int(found) > limit:
        return (NOT_MET, NONE, found)
    if gap:
        return (NOT_PROVEN, GAP, found)
    if not passed:
        return (NOT_PROVEN, NOT_REACHED, found)
    return (NOT_PROVEN, TOO_FEW, found) if few else (MET, NONE, found)


# ---- one run ----

class Sheet:
    """What is written about one run."""

    def __init__(self, run, complete):
        self.run, self.complete, self.lines = run, complete, []

    def verdict(self, operation, requirement, outcome, reason, required, found, possible=None, margin_sign=1,
                uncertainty=0):
        if not self.complete:
            outcome, reason, found, possible, uncertainty = NOT_PROVEN, NO_LOAD, None, None, 0
        known = found is not None
        found = int(round(found)) if known else 0
        possible = found if possible is None else int(round(possible))
        margin = margin_sign * (required - found) if known else 0
        fields = ("verdict", self.run, operation, requirement, outcome, reason, required, int(known), found,
                  possible, margin, uncertainty)
        self.lines.append(",".join(map(str, fields)))

    def charge(self, charge, gaps, peak, peak_t):
        stretches, best = charge.stretches, charge.best
        every_gap = [gap for own in gaps.values() for gap in own]
        self.soak(stretches[0][0] if stretches else 0, best[0] if best else 0, best[1] if best else 0,
                  stretches[-1][1] if stretches else 0, sum(s[1] - s[0] for s in stretches), charge.length_maybe,
                  len(stretches), peak or 0, peak_t, len(every_gap), sum(gap[1] - gap[0] for gap in every_gap))

    def soak(self, *facts):
        self.lines.append(",".join(map(str, ("soak", self.run) + tuple(int(round(fact)) for fact in facts))))


class Charge:
    """All load channels of a run against a band: a lower edge, and for a hold an upper one."""

    def __init__(self, loads, gaps, begin, end, edge, top=None, until=None):
        proven = [proven_in(channel, edge, top) for channel in loads]
        possible = [possible_in(channel, edge, top, own, gaps[channel.id], begin, end)
                    for channel, own in zip(loads, proven)]
        self.stretches = [s for s in common_of_all(proven) if s[1] > s[0]] if loads else []
        unknown = common_of_all(possible) if loads else []
        if until is not None:
            self.stretches, unknown = (common(times, [(begin, until)]) for times in (self.stretches, unknown))
        self.best = longest(self.stretches)
        self.length = self.best[1] - self.best[0] if self.best else 0
        maybe = longest(unknown)
        self.length_maybe = max(self.length, maybe[1] - maybe[0] if maybe else 0)

    def at_least(self, least):
        if self.length >= least:
            return (MET, NONE)
        if self.length_maybe >= least:
            return (NOT_PROVEN, GAP)
        return (NOT_MET, NONE if self.stretches else NOT_REACHED)

    def at_most(self, most):
        if self.length > most:
            return (NOT_MET, NONE)
        if self.length_maybe > most:
            return (NOT_PROVEN, GAP)
        return (MET, NONE) if self.stretches else (NOT_PROVEN, NOT_REACHED)


def judge_load_start(loads, limit):
    firsts = [(int(channel.v[0]), channel.uncertainty) for channel in loads if len(channel.v)]
    if not firsts:
        return (NOT_PROVEN, GAP, None, 0)
    found, uncertainty = max(firsts, key=lambda first: first[0])
    if found > limit:
        return (NOT_MET, NONE, found, uncertainty)
    return ((MET, NONE) if len(firsts) == len(loads) else (NOT_PROVEN, GAP)) + (found, uncertainty)


# ---- quench, cold hold, what a temper comes to ----

def judge_moments(moments, limit, sure, missed):
    """Of (moment, why it is not known). `missed`: one was seen to come too late, if at all."""
    known = [moment.ms for moment, _ in moments if moment.known]
    unknown = [why for moment, why in moments if not moment.known]
    found = max(known) if known else None
    if found is not None and found > limit:
        return (NOT_MET, NONE, found) if sure else (NOT_PROVEN, GAP, found)
    if missed:
        return (NOT_MET, NOT_REACHED, None)
    if unknown:
        return (NOT_PROVEN, GAP if GAP in unknown else unknown[0], found)
    return (MET, NONE, found) if moments else (NOT_PROVEN, NO_SENSOR, None)


def judge_quench(sheet, index, operation, curves, sensor_count, end, sure):
    """`curves` is empty where the charge never left a soak."""
    never = [(UNKNOWN, NOT_REACHED)] * (sensor_count if not curves else 0)
    reasons = [GAP if curve.has_gap(end) else NOT_REACHED for curve in curves]
    few = [TOO_FEW if why != GAP and curve.handle_warm.known else why for curve, why in zip(curves, reasons)]
    transfers = [(curve.transfer, why) for curve, why in zip(curves, reasons)] + never
    coolings = [(curve.cooling, why) for curve, why in zip(curves, few)] + never
    warms = [(curve.handle_warm, why) for curve, why in zip(curves, reasons)] + never
    if "transfer_at_most" in operation:
        limit = duration(operation["transfer_at_most"])
        outcome, why, found = judge_moments(transfers, limit, sure, False)
        sheet.verdict(index, TRANSFER, outcome, why, limit, found)
    if "cooling_at_most" in operation:
        limit = duration(operation["cooling_at_most"])
        outcome, why, found = judge_moments(coolings, limit, True, False)
        sheet.verdict(index, COOLING, outcome, why, limit, found)
    if "handle_warm_within" in operation:
        limit = duration(operation["handle_warm_within"])
        missed = sure and any(not curve.handle_warm.known and why != GAP and len(curve.t)
                              and curve.t[-1] - curve.left > limit for curve, why in zip(curves, reasons))
        outcome, why, found = judge_moments(warms, limit, sure, missed)
        sheet.verdict(index, HANDLE_WARM, outcome, why, limit, found)
    if operation.get("may_attest") == "yes":
        outcome, why, found = judge_moments(transfers, 0, True, False)
        if found is not None:
            outcome, why = MET, NONE
        sheet.verdict(index, DONE, outcome, NO_SENSOR if why == NOT_REACHED else why, 0, found, margin_sign=0)


def channel_is_out_after(channel, edge, left):
    """Does its line fall through the edge at that moment?"""
    i = int(np.searchsorted(channel.t, left, side="right")) - 1
    if i + 1 >= len(channel.t) or channel.t[i + 1] - channel.t[i] > GAP_INTERVALS * channel.interval:
        return False
    if channel.v[i] < edge or channel.v[i + 1] >= edge:
        return False
    at = channel.t[i] + int((channel.v[i] - edge) * (channel.t[i + 1] - channel.t[i]) // (channel.v[i] - channel.v[i + 1]))
    return abs(at - left) <= 1


def pick_sensors(channels, loads):
    return ([channel for channel in channels if channel.role == ROLE_QUENCH]
            or [channel for channel in loads if channel.role == ROLE_LOAD])


def quench_curve(operation, sensor, left):
    falls = rate(operation.get("falls_at_least", "20 C/s")) // 3600
    upper, lower = (temperature(part) for part in operation.get("cooling", "800 C .. 500 C").split(".."))
    return Curve(sensor, left, falls, upper, lower, temperature(operation.get("handle_warm", "60 C")))


def judge_equivalent(operation, loads, gaps, guarded, required):
    """(outcome, reason, found, uncertainty), and the longest time that is missing."""
    reference = temperature(operation["temperature"])
    constant = float(operation.get("hollomon_jaffe_constant", 20))
    if not loads:
        return (NOT_PROVEN, NO_LOAD, 0, 0), 0
    sums = [round(equivalent(channel, reference, constant)) for channel in loads]
    missing = [sum(gap[1] - gap[0] for gap in gaps[channel.id]) for channel in loads]
    least = sums.index(min(sums))
    found, uncertainty = sums[least], loads[least].uncertainty
    if required is None:
        answer = (MET, NONE)
    elif found >= required:
        lowered = [equivalent(channel, reference, constant, channel.uncertainty) for channel in loads] if guarded else []
        answer = (NOT_PROVEN, UNCERTAIN) if any(round(own) < required for own in lowered) else (MET, NONE)
    else:
        broken = any(own < required and not gone for own, gone in zip(sums, missing))
        answer = (NOT_MET, NONE) if broken else (NOT_PROVEN, GAP)
    return answer + (found, uncertainty), max(missing)


class Facts:
    """What the visit after a run is told about it, and the run itself about its begin. `edge` is None in a cold hold."""

    def __init__(self, loads, begin, edge, last_ended):
        self.begin, self.last_ended = begin, last_ended
        self.first = self.hottest([channel.v[:1] for channel in loads], loads)
        self.lowest = None
        if edge is None:
            self.lowest = self.hottest([channel.v for channel in loads], loads)
        elif last_ended:
            lasts = [np.flatnonzero(channel.v >= edge)[-1] for channel in loads]
            self.lowest = self.hottest([channel.v[last + 1:] for channel, last in zip(loads, lasts)], loads)

    @staticmethod
    def hottest(values, loads):
        """The highest of the lowest values, with its channel's uncertainty."""
        if not loads or not all(len(own) for own in values):
            return None
        return max(((int(own.min()), channel.uncertainty) for own, channel in zip(values, loads)),
                   key=lambda each: each[0])

    def line(self, number, equivalent_ms, missing_ms):
        known = tuple((int(value is not None), value[0] if value else 0) for value in (self.first, self.lowest))
        return ",".join(map(str, ("facts", number, self.begin) + known[0] + known[1]
                                 + (int(round(equivalent_ms)), missing_ms)))


def judge_between(sheet, index, operation, before, now, guarded):
    sheet.complete = True
    if "begins_within" in operation:
        limit = duration(operation["begins_within"])
        found = now.begin - before.last_ended if before is not None and before.last_ended else None
        answer = (NOT_PROVEN, NO_BEFORE) if found is None else (NOT_MET if found > limit else MET, NONE)
        sheet.verdict(index, BEGIN_WITHIN, *answer, limit, found)
    if "parts_below_first" in operation:
        limit = temperature(operation["parts_below_first"])
        lowest = before.lowest if before is not None else None
        known = [value for value in (now.first, lowest) if value is not None]
        found, uncertainty = min(known, key=lambda each: each[0]) if known else (None, 0)
        if found is None:
            answer = (NOT_PROVEN, NO_BEFORE)
        elif found <= limit:
            answer = (NOT_PROVEN, UNCERTAIN) if guarded and limit - found < uncertainty else (MET, NONE)
        elif len(known) < 2:
            answer = (NOT_PROVEN, NO_BEFORE if lowest is None else GAP)
        else:
            answer = (NOT_MET, NONE)
        sheet.verdict(index, PARTS_BELOW, *answer, limit, found, uncertainty=uncertainty)


def judge_cold(sheet, index, operation, head, channels, begin, end):
    loads = [channel for channel in channels if channel.role == ROLE_LOAD]
    loads = loads or [channel for channel in channels if channel.role == ROLE_COLD]
    sheet.complete = len(loads) > 0
    turned = [Turned(channel) for channel in loads]
    gaps = {channel.id: find_gaps(channel, begin, end) for channel in turned}
    edge = -temperature(operation["temperature_at_most"])
    least = duration(operation["time_at_least"])
    most_uncertain = max((channel.uncertainty for channel in loads), default=0)
    hold = Charge(turned, gaps, begin, end, edge)
    answer = hold.at_least(least)
    if head.get("decision") == "guarded" and answer[0] == MET:
        if Charge(turned, gaps, begin, end, edge + most_uncertain).length < least:
            answer = (NOT_PROVEN, UNCERTAIN)
    sheet.verdict(index, HOLD_LEAST, *answer, least, hold.length, hold.length_maybe, -1, most_uncertain)
    sheet.charge(hold, gaps, None, 0)
    facts = Facts(loads, begin, None, hold.stretches[-1][1] if hold.stretches else 0)
    sheet.lines.append(facts.line(sheet.run, 0, 0))
    return facts


def judge(number, plan_path, run_path, visit, before_path=None):
    head, operations = read_plan(plan_path)
    sheet = Sheet(number, True)
    now = judge_run(sheet, head, operations, run_path, visit)
    if before_path is not None:
        other = Sheet(number, True)
        before = judge_run(other, head, operations, before_path, visit - 1) if before_path != "-" else None
        index = next(i for i, o in enumerate(operations) if o["visit"] == visit and o["kind"] in ("temper", "cold"))
        judge_between(sheet, index, operations[index], before, now, head.get("decision") == "guarded")
    return sheet.lines


def judge_run(sheet, head, operations, run_path, visit):
    channels, begin, end = read_run(run_path)
    for index, operation in enumerate(operations):
        if operation["visit"] == visit and operation["kind"] == "cold":
            return judge_cold(sheet, index, operation, head, channels, begin, end)
    loads = pick_loads(head, channels)
    sheet.complete = is_complete(head, loads)
    guarded = head.get("decision") == "guarded"
    lag = duration(head.get("lag_allowance", "0 s"))
    soak = next(o for o in operations if o["visit"] == visit and o["kind"] in ("soak", "temper"))
    target = temperature(soak["temperature"])
    edge = target - difference(soak["below"])
    gaps = {channel.id: find_gaps(channel, begin, end) for channel in loads}
    every = sorted((channel.uncertainty for channel in loads), reverse=True) + [0, 0]

    def against(band_edge, top=None):
        return Charge(loads, gaps, begin, end, band_edge, top, until if top is not None else None)

    def guard(outcome, reason, margin, uncertainty):
        if guarded and outcome == MET and margin < uncertainty:
            return (NOT_PROVEN, UNCERTAIN)
        return (outcome, reason)

    charge = against(edge)
    until = charge.stretches[0][0] if charge.stretches else end
    above = difference(soak.get("overshoot_at_most", soak["above"]))
    over = judge_overshoot(loads, gaps, edge, target + above)
    left = int(charge.stretches[-1][1]) if charge.stretches and charge.stretches[-1][1] < end else 0
    quench = next((o for o in operations if o["visit"] == visit and o["kind"] == "quench"), None)
    sensors = pick_sensors(channels, loads) if quench is not None else []
    curves = [quench_curve(quench, sensor, left) for sensor in sensors] if left else []
    equivalent_ms = missing_ms = 0

    for index, operation in enumerate(operations):
        if operation["visit"] != visit:
            continue
        if operation["kind"] == "heat":
            if "load_at_most" in operation:
                limit = temperature(operation["load_at_most"])
                outcome, reason, found, uncertainty = judge_load_start(loads, limit)
                answer = guard(outcome, reason, limit - (found or 0), uncertainty)
                sheet.verdict(index, LOAD_START, *answer, limit, found, uncertainty=uncertainty)
            outcome, reason, found = judge_ramp(operation, loads, gaps, edge)
            sheet.verdict(index, RAMP, outcome, reason, rate(operation["ramp_at_most"]), found)
            continue
        if operation["kind"] == "quench":
            # It is seen to leave where a channel falls out of the band; a gap leaves that open.
            sure = any(len(channel.t) and channel_is_out_after(channel, edge, left) for channel in loads)
            judge_quench(sheet, index, operation, curves, len(sensors), end, sure)
            continue
        least = duration(operation["time_at_least"]) + lag
        if operation["kind"] == "hold":
            middle = temperature(operation["temperature"])
            low, top = middle - difference(operation["below"]), middle + difference(operation["above"])
            hold = against(low, top)
            answer = hold.at_least(least)
            if guarded and answer[0] == MET and against(low + every[0], top - every[0]).length < least:
                answer = (NOT_PROVEN, UNCERTAIN)
            sheet.verdict(index, HOLD_LEAST, *answer, least, hold.length, hold.length_maybe, -1, every[0])
            continue
        answer = charge.at_least(least)
        if guarded and answer[0] == MET and against(edge + every[0]).length < least:
            answer = (NOT_PROVEN, UNCERTAIN)
        sheet.verdict(index, SOAK_LEAST, *answer, least, charge.length, charge.length_maybe, -1, every[0])
        if "time_at_most" in operation:
            most = duration(operation["time_at_most"])
            answer = charge.at_most(most)
            if guarded and answer[0] == MET and against(edge - every[0]).length_maybe > most:
                answer = (NOT_PROVEN, UNCERTAIN)
            sheet.verdict(index, SOAK_MOST, *answer, most, charge.length, charge.length_maybe, 1, every[0])
        found = None if over[2] is None else over[2] - target
        sheet.verdict(index, OVERSHOOT, *guard(over[0], over[1], above - (found or 0), over[4]), above, found,
                      uncertainty=over[4])
        if "spread_at_most" in operation:
            spread = difference(operation["spread_at_most"])
            outcome, reason, found = judge_spread(loads, charge.best, spread)
            both = int(round((every[0] ** 2 + every[1] ** 2) ** 0.5))
            sheet.verdict(index, SPREAD, *guard(outcome, reason, spread - (found or 0), both), spread, found,
                          uncertainty=both)
        if operation["kind"] == "temper":
            asked = duration(operation["equivalent_at_least"]) if "equivalent_at_least" in operation else None
            answer, missing_ms = judge_equivalent(operation, loads, gaps, guarded, asked)
            outcome, reason, equivalent_ms, uncertainty = answer
            if asked is not None:
                sheet.verdict(index, EQUIVALENT, outcome, reason, asked, equivalent_ms, margin_sign=-1,
                              uncertainty=uncertainty)
    sheet.charge(charge, gaps, over[2], over[3])
    facts = Facts(loads, begin, edge, int(charge.stretches[-1][1]) if charge.stretches else 0)
    sheet.lines.append(facts.line(sheet.run, equivalent_ms, missing_ms))
    for i, sensor in enumerate(sensors):
        fields = curves[i].fields(end) if curves else (0,) * QUENCH_FIELDS
        sheet.lines.append(",".join(map(str, ("quench", sheet.run, sensor.id) + fields)))
    return facts


def main():
    for number, line in enumerate(sys.stdin):
        plan_path, run_path, visit, *before = line.split()
        print("\n".join(judge(number, plan_path, run_path, int(visit), *before)))


if __name__ == "__main__":
    main()
