# SPDX-License-Identifier: MIT
"""Trends a second time, by scipy: reads lines "x y x y ..." and answers each with one line of numbers.

kendall's S and its two-sided p without correction for continuity, Theil-Sen's slope, low, high and intercept at 95 %,
a least-squares line's slope, intercept and their standard errors, Student's quantile and tail at the first x and y.
"""
import sys

import numpy as np
from scipy import stats


def answer(line):
    values = np.array([float(word) for word in line.split()])
    x, y = values[0::2], values[1::2]
    n = len(y)
    s = sum(np.sign(y[k] - y[i]) for i in range(n) for k in range(i + 1, n))
    p = stats.kendalltau(np.arange(n), y, method="asymptotic").pvalue
    slope, intercept, low, high = stats.theilslopes(y, x, 0.95)
    fit = stats.linregress(x, y)
    chance = stats.norm.cdf(y[0] / 4)
    return [s, p, slope, low, high, intercept, fit.slope, fit.intercept, fit.stderr, fit.intercept_stderr,
            stats.t.ppf(chance, n - 1), stats.t.cdf(-abs(y[0]), n - 1)]


for text in sys.stdin:
    print(" ".join("%.17g" % number for number in answer(text)))
