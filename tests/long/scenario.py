# SPDX-License-Identifier: MIT
"""A toolroom of eight ovens on eight lines, 64 channels, and weeks of runs and faults in it, all from a seed.

Makes the shop's scenario, the daemon's configuration and the plans, and keeps what is about to happen: when each run
begins and ends, which faults it meets, and what the script does to the daemon.
"""

import random
from datetime import datetime, timedelta, timezone

OVENS = 8
LOADS = 4
CHANNELS = OVENS * (LOADS + 4)  # control, setpoint, output and a high limit beside the loads
START = datetime(2026, 11, 16, 6, 0, 0, tzinfo=timezone.utc)
RATE_C_PER_H = 2000
AMBIENT_C = 21
SOAK_MIN = 20
SECTION_KEYS = 100  # a section of a key file holds so many, and a few more


def stamp(seconds):
    return (START + timedelta(seconds=seconds)).strftime("%Y-%m-%dT%H:%M:%SZ")


class Run:
    """One charge in one oven. Times are whole seconds since the start."""

    def __init__(self, oven, begins, heated, temperature, taken_out):
        self.heated = heated
        self.oven, self.begins, self.temperature, self.taken_out = oven, begins, temperature, taken_out
        self.faults = []  # (from, until, words)
        self.batch = None  # opened for it


class Scenario:
    def __init__(self, seed, days, interval_s):
        self.interval_s = interval_s
        self.random = random.Random(seed)
        self.seconds = int(days * 86400)
        self.seed = seed
        self.runs, self.events, self.deeds = [], [], []
        for oven in range(1, OVENS + 1):
            self._play_oven(oven)
        self._play_script()
        self.events.sort(key=lambda event: event[0])
        self.deeds.sort(key=lambda deed: deed[0])

    # ---- what happens in the ovens ----

    def _play_oven(self, oven):
        begins = self.random.randint(900, 5400)
        while True:
            temperature = self.random.choice([190, 420, 540, 700, 805, 850])
            heating = (temperature - AMBIENT_C) * 3600 // RATE_C_PER_H
            held = self.random.choice([26, 27, 29, 33, 12]) * 60  # one in five is taken out too early
            taken_out = begins + heating + 600 + held  # what lags behind is there about ten minutes later
            if taken_out + 2 * 3600 > self.seconds:
                return
            run = Run(oven, begins, begins + heating, temperature, taken_out)
            self.runs.append(run)
            self._play_run(run)
            begins = taken_out + self.random.randint(4 * 3600, 16 * 3600)

    def _play_run(self, run):
        name = f"o{run.oven}"
        loads = [f"w{run.oven}-{i}" for i in range(1, LOADS + 1)]
        for load in loads:
            self.events.append((run.begins - 300, f"load {load} in"))
        self.events.append((run.begins, f"oven {name} ramps to {run.temperature} C at {RATE_C_PER_H} C/h"))
        self.events.append((run.taken_out, f"door of {name} open for 20 s"))
        for load in loads:
            self.events.append((run.taken_out + 5, f"load {load} out to 25 C with lag 12 s"))
        self.events.append((run.taken_out + 30, f"oven {name} off"))
        for _ in range(self.random.choice([0, 0, 1, 2])):
            self._play_fault(run, loads)

    def _play_fault(self, run, loads):
        begins = self.random.randint(run.begins - 200, run.taken_out - 60)
        sensor = self.random.choice(loads + [f"o{run.oven}"])
        kind = self.random.randrange(7)
        if kind == 0:
            lasts, words, ends = self.random.randint(5, 900), f"sensor {sensor} opens", f"sensor {sensor} closes"
        elif kind == 1:
            lasts = self.random.randint(3, 900)
            words, ends = f"line l{run.oven} vanishes", f"line l{run.oven} returns"
        elif kind == 2:
            lasts = self.random.randint(10, 60)
            words, ends = f"line l{run.oven} garbles 20 %", f"line l{run.oven} garbles 0 %"
        elif kind == 3:
            lasts = self.random.randint(5, 40)
            words, ends = f"controller c{run.oven} power off", f"controller c{run.oven} power on"
        elif kind == 4:
            lasts = self.random.randint(5, 40)
            words, ends = f"controller m{run.oven} power off", f"controller m{run.oven} power on"
        elif kind == 5:
            lasts = self.random.randint(30, 900)
            words, ends = f"sensor {sensor} noise 2 C", f"sensor {sensor} noise 0.15 C"
        else:
            lasts = self.random.randint(10, 120)
            words, ends = f"door of o{run.oven} open for {lasts} s", None
        if any(begins - 5 <= until and begins + lasts + 5 >= since for since, until, _ in run.faults):
            return
        run.faults.append((begins, begins + lasts, words))
        self.events.append((begins, words))
        if ends is not None:
            self.events.append((begins + lasts, ends))

    # ---- what the script does ----

    def _play_script(self):
        for run in self.runs:
            if self.random.random() < 0.85:
                self.deeds.append((run.begins - self.random.randint(310, 600), "batch", run))
        hours = self.seconds // 3600
        for kind, one_in_hours in (("kill", 9), ("end", 31), ("step", 13), ("stall", 7), ("lock", 17)):
            for _ in range(max(1, hours // one_in_hours)):
                # Nobody ends the daemon in the second half.
                until = self.seconds // 2 if kind in ("kill", "end") else self.seconds - 5400
                self.deeds.append((self.random.randint(1800, max(3600, until)), kind, None))

    # ---- the files ----

    def shop(self):
        parts = [f"[clock]\nstart = {stamp(0)}\nstep = 1 s\nseed = {self.seed}\n"]
        for n in range(1, OVENS + 1):
            parts.append(f"[line l{n}]\nlink = l{n}\n")
        for n in range(1, OVENS + 1):
            parts.append(
                f"[oven o{n}]\nambient = {AMBIENT_C} C\npower = 6000 W\nheat_capacity = 4 kJ/K\nloss = 1.0 W/K\n"
                "radiation = 30 cm2\ndoor_loss = 12 W/K\nelement_lag = 4 s\nsensor_lag = 3 s\nband = 12 C\n"
                "reset = 3 min\nderivative = 4 s\nnoise = 0.15 C\n")
        for n in range(1, OVENS + 1):
            for i in range(1, LOADS + 1):
                parts.append(f"[load w{n}-{i}]\noven = o{n}\nheat_capacity = 60 J/K\nlag = {36 + 4 * i} s\n"
                             "sensor_lag = 5 s\nexposure = 99.9 %\nnoise = 0.15 C\n")
        for n in range(1, OVENS + 1):
            parts.append(f"[controller c{n}]\nline = l{n}\naddress = 1\noven = o{n}\n")
            parts.append(f"[controller m{n}]\nline = l{n}\naddress = 2\noven = o{n}\nregulates = no\n")
        for n in range(1, OVENS + 1):
            shown = ["control", "setpoint", "output"] + [f"w{n}-{i}" for i in range(1, LOADS + 1)]
            for number, shows in enumerate(shown):
                opens = "" if shows in ("setpoint", "output") else "open_value = 32767\n"
                parts.append(f"[register r{n}-{number}]\ncontroller = c{n}\nshows = {shows}\nnumber = {number}\n"
                             f"decimals = 1\n{opens}")
            parts.append(f"[register h{n}]\ncontroller = m{n}\nshows = control\nnumber = 0\ndecimals = 1\n"
                         "open_value = 32767\n")
        for number, (at, words) in enumerate(self.events):
            if number % SECTION_KEYS == 0:
                parts.append(f"[programme p{number // SECTION_KEYS}]")
            parts.append(f"{number % SECTION_KEYS + 1} = {stamp(at)} {words}")
        return "\n".join(parts) + "\n"

    def configuration(self, folder):
        every = f"interval = {self.interval_s} s\n"
        parts = [f"[ledger]\npath = {folder}/shop.ledger\n", f"[clock]\npage = {folder}/clock.page\n",
                 "[shop]\nname = Toolroom, Hall 3\nutc_offset = +00:00\n"
                 f"key = {folder}/shop.key\n"]
        for n in range(1, OVENS + 1):
            parts.append(f"[line l{n}]\ndevice = {folder}/l{n}\nkind = pseudo-terminal\n")
            parts.append(f"[instrument c{n}]\nline = l{n}\naddress = 1\n")
            parts.append(f"[instrument m{n}]\nline = l{n}\naddress = 2\n")
            parts.append(f"[oven o{n}]\nheats_at_most = 120 C/min\n")
            shown = ["control", "setpoint", "output"] + [f"load{i}" for i in range(1, LOADS + 1)]
            for number, name in enumerate(shown):
                role = "load" if name.startswith("load") else name
                scale = "decimals = 1\n" if role == "output" else "decimals = 1\nunit = C\n"
                opens = "" if role in ("setpoint", "output") else "open_value = 32767\n"
                parts.append(f"[channel o{n}.{name}]\nrole = {role}\ninstrument = c{n}\nfunction = 3\n"
                             f"register = {number}\n{scale}{opens}{every}")
            parts.append(f"[channel o{n}.limit]\nrole = high-limit\ninstrument = m{n}\nfunction = 3\nregister = 0\n"
                         f"decimals = 1\nunit = C\nopen_value = 32767\n{every}")
        return "\n".join(parts)

    @staticmethod
    def plan(run):
        top = run.temperature - 100
        return ("[plan]\ntitle = Plane irons and chisels\nsteel = AISI O1\nload = sensors\n\n"
                f"[heat warm up]\nramp_at_most = 2500 C/h\nramp_between = 60 C .. {max(top, 120)} C\n\n"
                f"[soak hold]\ntemperature = {run.temperature} C\nbelow = 8 C\nabove = 10 C\n"
                f"time_at_least = {SOAK_MIN} min\ntime_at_most = 45 min\novershoot_at_most = 10 C\n"
                "spread_at_most = 10 C\n")
