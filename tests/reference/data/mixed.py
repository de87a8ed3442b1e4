"""The REML fits of mixed_model.json again, by the closed form of src/model.md, section 2, in 50 digits. Needs mpmath.

Prints each case's estimates beside the stored ones (lme4's) and ends with status 1 where they differ by more than the
stored digits. Written from the page, without the program: full matrices, no sums about means.
"""

import csv
import json
import pathlib
import sys

from mpmath import findroot, log, matrix, mp, mpf, pi, sqrt

mp.dps = 50
HERE = pathlib.Path(__file__).parent


def read(case):
    with open(HERE / case["data"], newline="") as file:
        rows = [row for row in csv.reader(file)][1:]
    groups = sorted({row[0] for row in rows})
    x = matrix([[mpf(1)] + [mpf(cell) for cell in row[1:-1]] for row in rows])
    y = matrix([mpf(row[-1]) for row in rows])
    members = [[i for i, row in enumerate(rows) if row[0] == group] for group in groups]
    return x, y, members


def times_v_inverse(a, members, theta2):
    """V^-1 a for V = I + theta^2 ZZ': a less, in each group, theta^2 n/(1 + n theta^2) of its mean."""
    out = a.copy()
    for group in members:
        n = len(group)
        part = theta2 / (1 + n * theta2)
        for j in range(a.cols):
            sum_ = sum(a[i, j] for i in group)
            for i in group:
                out[i, j] -= part * sum_
    return out


def profile(x, y, members, theta2):
    vx = times_v_inverse(x, members, theta2)
    information = x.T * vx
    covariance = information**-1
    beta = covariance * (vx.T * y)
    e = y - x * beta
    rss = (e.T * times_v_inverse(e, members, theta2))[0]
    nu = len(y) - x.cols
    ln_det = sum(log(1 + len(group) * theta2) for group in members)
    criterion = nu * (1 + log(2 * pi * rss / nu)) + ln_det + log(mp.det(information))
    return criterion, beta, covariance, rss / nu


def fit(x, y, members):
    criterion = lambda theta2: profile(x, y, members, theta2)[0]
    slope = lambda theta2: mp.diff(criterion, theta2, h=mpf("1e-15") * (1 + theta2), direction=1)
    start = min((mpf(2) ** k for k in range(-8, 12)), key=criterion)
    if criterion(mpf(0)) <= criterion(start) and slope(mpf(0)) >= 0:
        return mpf(0)
    with mp.workdps(30):
        return findroot(slope, (start / 2, start * 2), solver="anderson", tol=1e-20)


def main():
    failed = False
    for case in json.loads((HERE / "mixed_model.json").read_text())["cases"]:
        expected = case["expected"]
        x, y, members = read(case)
        theta2 = fit(x, y, members)
        criterion, beta, covariance, sigma2 = profile(x, y, members, theta2)
        pairs = [("sigma", sqrt(sigma2), expected["sigma"]), ("tau", sqrt(theta2 * sigma2), expected["tau"])]
        pairs += [(f"beta {i}", beta[i], v) for i, v in enumerate(expected["fixef"])]
        pairs += [(f"se {i}", sqrt(sigma2 * covariance[i, i]), v) for i, v in enumerate(expected["se"])]
        pairs += [("criterion", criterion, expected["reml_criterion"])]
        for what, ours, stored in pairs:
            off = abs(ours - mpf(stored)) > mpf("2e-9") * max(abs(mpf(stored)), mpf("1e-3"))
            failed |= off
            print(f"{case['name']:12} {what:10} {mp.nstr(ours, 14):>20} {stored:>20}{'  DIFFERS' if off else ''}")
    sys.exit(1 if failed else 0)


main()
