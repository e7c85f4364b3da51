# SPDX-License-Identifier: MIT
"""The words of quench.h, temper.h and what judge.h says about both, worked out on whole arrays."""

import math

import numpy as np

GAP_INTERVALS = 3
LEAST_READINGS = 5
SPAN_MS = 400
QUENCH_FIELDS = 28  # of a line
BEFORE_MS, BEFORE_LEAST = 60000, 16  # readings before the charge left that count
OFTEN_MS = 100  # a channel read more often than this needs a longer window of rates
ZERO_C_MK = 273150
MOST_DECADES = 200  # of hours: where so many would be needed, a step adds nothing
MS_PER_HOUR = 3600000
RATE_AT, MARKS = 300000, (600000, 400000, 200000)


def nearest(x):
    """Halves upwards."""
    return math.floor(x + 0.5)


class Moment:
    def __init__(self, t=None, ms=0):
        self.known, self.t, self.ms = t is not None, 0 if t is None else nearest(t), nearest(ms)

    def fields(self):
        return (int(self.known), self.ms, self.t) if self.known else (0, 0, 0)


UNKNOWN = Moment()


class Curve:
    """One channel's good readings, seen from the moment the charge left."""

    def __init__(self, channel, left, falls, upper, lower, warm):
        before = int(np.searchsorted(channel.all_t, left, side="right"))
        first = max(0, min(int(np.searchsorted(channel.all_t, left - BEFORE_MS)), before - BEFORE_LEAST))
        counts = channel.t >= (channel.all_t[first] if len(channel.all_t) else 0)
        self.t, self.v = channel.t[counts], channel.v[counts]
        self.interval, self.left = channel.interval, left
        self.limit = GAP_INTERVALS * channel.interval
        self.joined = np.diff(self.t) <= self.limit
        self.window = LEAST_READINGS
        if self.interval < OFTEN_MS: # the least odd number that spans enough
            self.window = (-(-SPAN_MS // self.interval) + 1) | 1
        self.handle_warm = self.find_warm(warm)
        seen_warm = self.t[(self.t >= left) & (self.v <= warm)]
        self.until = self.handle_warm.t if self.handle_warm.known else seen_warm[0] if len(seen_warm) else math.inf
        self.transfer = self.find_transfer(falls)
        self.cooling, self.cooling_readings = self.find_cooling(upper, lower)
        self.marks = [self.find_mark(mark) for mark in MARKS]
        self.find_rates()

    def moment_in(self, i, level):
        """On the line from reading i to the next; None in a gap."""
        t, v = self.t, self.v
        return int(t[i]) + float(level - v[i]) * float(t[i + 1] - t[i]) / float(v[i + 1] - v[i]) if self.joined[i] else None

    def falls_through(self, level):
        return np.flatnonzero((self.v[:-1] > level) & (self.v[1:] <= level))

    def value_when_left(self):
        """None if in a gap or outside the readings."""
        i = int(np.searchsorted(self.t, self.left, side="right")) - 1
        if i < 0:
            return None
        if self.t[i] == self.left:
            return float(self.v[i])
        if i + 1 >= len(self.t) or not self.joined[i]:
            return None
        part = (self.left - self.t[i]) / (self.t[i + 1] - self.t[i])
        return self.v[i] + part * (self.v[i + 1] - self.v[i])

    def first_fall(self, level):
        """The first fall through a level from the moment it left: its time, or None."""
        below = np.flatnonzero((self.t >= self.left) & (self.v <= level))
        if not len(below) or below[0] == 0 or self.v[below[0] - 1] <= level:
            return None
        at = self.moment_in(below[0] - 1, level)
        return at if at is not None and at >= self.left else None

    def find_warm(self, warm):
        if len(self.t) and self.left < self.t[0] <= self.left + self.limit and self.v[0] <= warm:
            return Moment(int(self.t[0]), int(self.t[0]) - self.left)
        now = self.value_when_left()
        if now is not None and now <= warm:
            return Moment(self.left, 0)
        at = self.first_fall(warm)
        return UNKNOWN if at is None else Moment(at, at - self.left)

    def find_mark(self, level):
        now = self.value_when_left()
        if now is not None and now < level:
            return UNKNOWN
        at = self.first_fall(level)
        return UNKNOWN if at is None else Moment(at, at - self.left)

    def fell_as_fast(self, i, j, falls):
        return float(self.v[i] - self.v[j]) * 1000 >= float(falls) * float(self.t[j] - self.t[i])

    def find_transfer(self, falls):
        """Falls are decided in the order of their begins; a gap after those that begin before it."""
        t, v = self.t, self.v
        if not len(t) or t[0] > self.left + self.limit:
            return UNKNOWN
        deep = falls * max(self.interval, SPAN_MS) / 1000
        for i in range(len(t) - 1):
            if not self.joined[i]:
                if t[i + 1] > self.left and v[i] - v[i + 1] >= deep:
                    return UNKNOWN
                continue
            if t[i + 1] <= self.left or t[i] > self.until or not self.fell_as_fast(i, i + 1, falls):
                continue
            proof = min(int(np.searchsorted(t, t[i] + SPAN_MS)), i + self.window)
            gaps = np.flatnonzero(~self.joined[i:proof])
            if len(gaps):
                proof = i + int(gaps[0]) + 1
            if proof < len(t) and self.fell_as_fast(i, proof, falls):
                at = max(int(t[i]), self.left)
                return Moment(at, at - self.left)
        return UNKNOWN

    def find_cooling(self, upper, lower):
        ends = np.flatnonzero((self.t >= self.left) & (self.v <= lower))
        low = int(ends[0]) if len(ends) else len(self.t)
        above = np.flatnonzero(self.v[:low] >= upper)
        if not len(above) or above[-1] + 1 >= len(self.t):
            return UNKNOWN, 0
        top = int(above[-1])
        begin, end = self.moment_in(top, upper), self.first_fall(lower)
        between = self.v[top + 1:low]
        count = int(((between < upper) & (between > lower)).sum()) if begin is not None else 0
        if begin is None or end is None or count < LEAST_READINGS:
            return UNKNOWN, count
        return Moment(begin, nearest(end) - nearest(begin)), count

    def find_rates(self):
        t, v = self.t, self.v
        count, half = self.window, self.window // 2
        self.fastest, self.fastest_rate, self.fastest_at, self.fastest_span = UNKNOWN, 0, 0, 0
        self.rate_300 = None
        if len(t) < count:
            return
        windows = np.lib.stride_tricks.sliding_window_view
        times, values = windows(t, count).astype(float), windows(v, count).astype(float)
        times = times - times.mean(axis=1, keepdims=True)
        values = values - values.mean(axis=1, keepdims=True)
        rates = -(times * values).sum(axis=1) / (times * times).sum(axis=1) * 1000
        full = windows(self.joined, count - 1).all(axis=1)
        middles = t[half:len(t) - half]
        use = np.flatnonzero(full & (middles >= self.left) & (middles <= self.until))
        if len(use):
            best = use[np.argmax(rates[use])]
            if rates[best] > 0 and not self.may_hide(float(nearest(rates[best])), full):
                self.fastest = Moment(int(t[best + half]), int(t[best + half]) - self.left)
                self.fastest_rate, self.fastest_at = float(rates[best]), int(v[best + half])
                self.fastest_span = int(t[best + count - 1] - t[best])
        at = self.first_fall(RATE_AT)
        if at is not None:
            i = int(np.flatnonzero((t >= self.left) & (v <= RATE_AT))[0]) - 1
            one, other = i - half, i + 1 - half
            if one >= 0 and other < len(rates) and full[one] and full[other]:
                part = (v[i] - RATE_AT) / float(v[i] - v[i + 1])
                self.rate_300 = float(rates[one] + part * (rates[other] - rates[one]))

    def may_hide(self, fastest, full):
        """Could a gap before handle-warm hold a faster fall? `full`: whether the window that begins there has no gap."""
        if self.t[0] > self.left + self.limit:
            return True
        for gap in np.flatnonzero(~self.joined & (self.t[1:] > self.left) & (self.t[:-1] < self.until)):
            earlier = np.flatnonzero(~self.joined[:gap])
            first = int(earlier[-1]) + 1 if len(earlier) else 0
            begin = max(first, int(gap) + 1 - self.window)
            behind = np.flatnonzero(full[gap + 1:])
            end = int(gap) + 1 + int(behind[0]) + self.window - 1 if len(behind) else len(self.t) - 1
            if 3 * float(self.v[begin] - self.v[end]) * 1000 > 2 * self.window * self.interval * fastest:
                return True
        return False

    def has_gap(self, end):
        """Before it was handle-warm, and after it left."""
        t = self.t
        if not len(t):
            return end - self.left > self.limit
        gaps = ~self.joined & (t[1:] > self.left) & (t[:-1] < self.until)
        late = t[0] > self.left + self.limit
        silent = not self.handle_warm.known and end - t[-1] > self.limit
        return bool(gaps.any() or late or silent)

    def fields(self, end):
        if not self.handle_warm.known and len(self.t) and end - self.t[-1] > self.limit:
            self.fastest, self.fastest_rate, self.fastest_at, self.fastest_span = UNKNOWN, 0, 0, 0
        return (self.transfer.fields() + self.cooling.fields() + (self.cooling_readings,) + self.fastest.fields()
                + (nearest(self.fastest_rate), self.fastest_at, self.fastest_span, int(self.rate_300 is not None),
                   nearest(self.rate_300 or 0))
                + sum((mark.fields() for mark in self.marks), ()) + self.handle_warm.fields()
                + (int(self.has_gap(end)),))


# ---- tempers ----

def equivalent(channel, reference, constant, lower_by=0):
    """Time at `reference` that gives what was reached, in ms."""
    t, v = channel.t, channel.v
    steps = np.diff(t)
    kelvins = ((v[:-1] + v[1:]) / 2 - lower_by + ZERO_C_MK) / 1000
    parameter = -math.inf
    for step, kelvin in zip(steps.tolist(), kelvins.tolist()):
        if step > GAP_INTERVALS * channel.interval:
            continue
        reached = parameter / kelvin - constant # log10 of the hours that would have given it at this temperature
        if reached < MOST_DECADES:
            parameter = kelvin * (constant + math.log10(10 ** reached + step / MS_PER_HOUR))
    power = parameter / ((reference + ZERO_C_MK) / 1000) - constant
    return 10 ** power * MS_PER_HOUR
