// Distributions and geometry, as in the program's stats/distributions.rs and geometry.rs. Written for few lines, not for
// speed; good to about 13 digits where the card asks.

const LN_ROOT_TWO_PI = 0.9189385332046728;

/** Complementary error function: a series of positive terms near 0, a continued fraction farther out. */
function erfc(x) {
  if (x < 0) return 2 - erfc(-x);
  if (x > 27) return 0;
  if (x < 2) {
    let term = x, sum = x;
    for (let n = 1; term > 1e-17 * sum; n++) {
      term *= 2 * x * x / (2 * n + 1);
      sum += term;
    }
    return 1 - 2 / Math.sqrt(Math.PI) * Math.exp(-x * x) * sum;
  }
  let below = x;
  for (let k = Math.ceil(200 / (x * x)) + 12; k >= 1; k--) below = x + k / 2 / below;
  return Math.exp(-x * x) / Math.sqrt(Math.PI) / below;
}

const normalCdf = (x) => 0.5 * erfc(-x * Math.SQRT1_2);
const normalPdf = (x) => Math.exp(-0.5 * x * x - LN_ROOT_TWO_PI);

/** Normal quantile: Abramowitz and Stegun 26.2.23 as a start, then Halley's steps on the smaller tail. */
function normalQuantile(p) {
  if (p > 0.5) return -normalQuantile(1 - p);
  if (p <= 0) return -Infinity;
  const t = Math.sqrt(-2 * Math.log(p));
  let x = (2.515517 + t * (0.802853 + t * 0.010328)) / (1 + t * (1.432788 + t * (0.189269 + t * 0.001308))) - t;
  for (let i = 0; i < 3; i++) {
    const e = (normalCdf(x) - p) / normalPdf(x);
    x -= e / (1 + 0.5 * x * e);
  }
  return x;
}

/** ln Γ(z + ½) − ln Γ(z): Stirling's series from 30 on, the recurrence of Γ below. */
function lnGammaHalfStep(z) {
  let down = 0;
  while (z < 30) {
    down += Math.log(z / (z + 0.5));
    z += 1;
  }
  const w = 1 / (z * z);
  return down + 0.5 * Math.log(z) - (1 / 8 - w * (1 / 192 - w * (1 / 640 - w * (17 / 14336)))) / z;
}

/** Lower tail of the beta distribution for x below its middle: the continued fraction, by Lentz's method. */
function betaLower(a, b, lnFront, x) {
  const tiny = 1e-300;
  let c = 1, d = 1 - (a + b) * x / (a + 1);
  d = 1 / (Math.abs(d) < tiny ? tiny : d);
  let h = d;
  for (let m = 1; m < 1000; m++) {
    let by = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m));
    d = 1 / (1 + by * d || tiny);
    c = 1 + by / c || tiny;
    h *= d * c;
    by = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1));
    d = 1 / (1 + by * d || tiny);
    c = 1 + by / c || tiny;
    const turn = d * c;
    h *= turn;
    if (Math.abs(turn - 1) < 1e-16) break;
  }
  return Math.exp(lnFront) * h / a;
}

/** From here on Hill's expansion (Algorithm 395, 1970) is closer than the incomplete beta function. */
const MANY_DF = 2000;

const tLnHeight = (df) => lnGammaHalfStep(0.5 * df) - 0.5 * Math.log(df * Math.PI);

/** Probability that Student's t is above x. */
function tSf(x, df, lnHeight = tLnHeight(df)) {
  if (x < 0) return 1 - tSf(-x, df, lnHeight);
  if (df > MANY_DF) {
    const a = df - 0.5, b = 48 * a * a, y = a * Math.log1p(x * (x / df));
    const correction = (((-0.4 * y - 3.3) * y - 24) * y - 85.5) / (0.8 * y * y + 100 + b) + y + 3;
    return normalCdf(-(correction / b + 1) * Math.sqrt(y));
  }
  const ratio = x / Math.sqrt(df), squared = ratio * ratio;
  if (squared === 0) return 0.5;
  const a = 0.5 * df, tail = 1 / (1 + squared), middle = squared / (1 + squared);
  // ln of 1/B(a, ½) · (1 + q)^(−a) · (q / (1 + q))^½
  const lnFront = lnHeight + Math.log(x) - (a + 0.5) * Math.log1p(squared);
  if (middle <= 1.5 / (a + 2.5)) return 0.5 * (1 - betaLower(0.5, a, lnFront, middle));
  return 0.5 * betaLower(a, 0.5, lnFront, tail);
}

/** Student's t with one number of degrees of freedom; `reach` is how far tables of mixtures go. */
class StudentT {
  constructor(df) {
    this.df = df;
    this.lnHeight = tLnHeight(df);
    this.reach = root((u) => tSf(Math.sinh(u) / 2, df, this.lnHeight) - 1e-5, 0, 60, 1e-12);
  }
  cdf(x) {
    return tSf(-x, this.df, this.lnHeight);
  }
  pdf(x) {
    return Math.exp(this.lnHeight - 0.5 * (this.df + 1) * Math.log1p(x * (x / this.df)));
  }
}

/**
 * A root of f between two ends; null where the ends have no opposite signs. The secant rule that halves the weight of
 * an end which stays too long (Illinois), kept from creeping by a middle now and then.
 */
function root(f, low, high, tolerance) {
  let atLow = f(low), atHigh = f(high);
  if (!Number.isFinite(atLow) || !Number.isFinite(atHigh)) return null;
  if (atLow === 0) return low;
  if (atHigh === 0) return high;
  if (atLow > 0 === atHigh > 0) return null;
  let kept = 0;
  for (let i = 1; high - low > tolerance && i < 200; i++) {
    let x = (low * atHigh - high * atLow) / (atHigh - atLow);
    if (i % 4 === 0 || !(x > low && x < high)) x = 0.5 * (low + high);
    // A step beyond the guess, so that the bracket closes from both sides.
    else x = clamp(x < 0.5 * (low + high) ? x + 0.4 * tolerance : x - 0.4 * tolerance, low, high);
    const at = f(x);
    if (at === 0) return x;
    if (at > 0 === atLow > 0) {
      low = x;
      atLow = at;
      if (kept === 1) atHigh *= 0.5;
      kept = 1;
    } else {
      high = x;
      atHigh = at;
      if (kept === -1) atLow *= 0.5;
      kept = -1;
    }
  }
  return 0.5 * (low + high);
}

// Geometry: x ahead, y to the right; m and rad.

const sinc = (h) => (h === 0 ? 1 : Math.sin(h) / h);
const asinc = (h) => (h === 0 ? 1 : Math.asin(h) / h);
const chordOfArc = (arc, curvature) => arc * sinc(curvature * arc / 2);
const arcOfChord = (chord, curvature) => chord * asinc(curvature * chord / 2);
const aimHeading = (target, aimRight) => Math.atan2(aimRight, target);
const aimOffset = (target, heading) => target * Math.tan(heading);
const clamp = (x, low, high) => Math.min(Math.max(x, low), high);

function arcEnd(arc, heading, curvature) {
  const chord = chordOfArc(arc, curvature), direction = heading + curvature * arc / 2;
  return [chord * Math.cos(direction), chord * Math.sin(direction)];
}

/** How far a point lies to the right of a path, and how far along it the nearest point is. */
function offsetFromPath(point, heading, k, arc) {
  const sin = Math.sin(heading), cos = Math.cos(heading);
  const u = point[0] * cos + point[1] * sin, v = -point[0] * sin + point[1] * cos, square = u * u + v * v;
  const right = (2 * v - k * square) / (1 + Math.sqrt(Math.max(1 - 2 * k * v + k * k * square, 0)));
  let along = k === 0 ? u : Math.atan2(k * u, 1 - k * v) / k;
  if (along >= 0 && along <= arc) return [right, along];
  // A mean arc may be below 0 where too few turns are wound on; nothing rolls backwards.
  along = clamp(along, 0, Math.max(arc, 0));
  const end = arcEnd(along, heading, k), distance = Math.hypot(point[0] - end[0], point[1] - end[1]);
  return [right < 0 ? -distance : distance, along];
}

/** The start heading from which on a path reaches `free` to the right of the line (decide/clearance.rs); may be infinite. */
function headingReaching(free, curvature, arc) {
  const chord = chordOfArc(arc, curvature);
  const atEnd = free < chord ? Math.asin(free / chord) - curvature * arc / 2 : Infinity;
  if (curvature < 0) {
    const cos = 1 + free * curvature, parallel = Math.acos(clamp(cos, -1, 1));
    if (cos >= -1 && -parallel / curvature < arc) return Math.min(atEnd, parallel);
  }
  return atEnd;
}

/** Whole steps nearest to x, halves away from 0; the program's own rule, to the last digit. */
function steps(x, step) {
  const whole = Math.floor(Math.abs(x) / step + 0.5 + 1e-7);
  return whole === 0 ? 0 : x < 0 ? -whole : whole;
}

/** The root of a function nearest to a start, looked for on both sides in steps that double; null where there is none. */
function rootOutward(f, start, step, tolerance) {
  for (let reach = step; reach < 1e9; reach *= 2) {
    const found = root(f, start - reach, start + reach, tolerance);
    if (found !== null) return found;
  }
  return null;
}
