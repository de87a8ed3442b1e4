"""Writes data/arc_geometry.csv: circular arcs by their closed forms in 50 digits. Needs mpmath (1.3 or 1.4).

A path starts at the origin heading forward and turns right for positive curvature k, over the arc s:
forward sin(ks)/k, right (1 - cos(ks))/k, chord 2 sin(ks/2)/k, chord bearing ks/2, end heading ks; bearing_cm_per_m is
100 tan(ks/2), half_* the point after half the arc, sagitta the arc's greatest distance from its chord.
"""

import pathlib

from mpmath import cos, mp, mpf, nstr, sin, tan

mp.dps = 50
CURVATURES = ["0", "1e-12", "1e-8", "-1e-6", "1e-4", "-0.001", "0.005", "0.02", "-0.05", "0.15"]
ARCS = ["0.5", "6", "8.35", "10"]
NAMES = (
    "curvature_per_m,arc_m,forward_m,right_m,chord_m,chord_bearing_rad,end_heading_rad,bearing_cm_per_m,"
    "half_forward_m,half_right_m,sagitta_m,arc_minus_chord_m"
)


def end(k, s):
    return (s, mpf(0)) if k == 0 else (sin(k * s) / k, (1 - cos(k * s)) / k)


def row(k, s):
    chord = s if k == 0 else 2 * sin(k * s / 2) / k
    sagitta = mpf(0) if k == 0 else (1 - cos(k * s / 2)) / k
    forward, right = end(k, s)
    half_forward, half_right = end(k, s / 2)
    bearing = 100 * tan(k * s / 2)
    return forward, right, chord, k * s / 2, k * s, bearing, half_forward, half_right, sagitta, s - chord


lines = [NAMES]
for k in CURVATURES:
    for s in ARCS:
        cells = [nstr(x, 16) if x else "0" for x in row(mpf(k), mpf(s))]
        lines.append(",".join([k, s] + cells))
path = pathlib.Path(__file__).parent / "data" / "arc_geometry.csv"
path.write_text("\n".join(lines) + "\n")
