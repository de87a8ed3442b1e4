// From what the calibration knows, and today's runs, to a setting: the program's arithmetic in the program's order
// (stats/mixed/update.rs, stats/mixed/mixture.rs, decide/*.rs), so that both say the same to the tick.

const packed = (i, j) => (i >= j ? i * (i + 1) / 2 + j : j * (j + 1) / 2 + i);

function dot(x, beta) {
  let sum = 0;
  for (let i = 0; i < x.length; i++) sum += x[i] * beta[i];
  return sum;
}

function quadratic(covariance, x) {
  let sum = 0;
  for (let i = 0; i < x.length; i++) {
    for (let j = 0; j < i; j++) sum += 2 * x[i] * x[j] * covariance[packed(i, j)];
    sum += x[i] * x[i] * covariance[packed(i, i)];
  }
  return sum;
}

/** Σ weight · of(part) over parts of a mixture. */
function averaged(parts, of) {
  let sum = 0;
  for (const part of parts) sum += part.weight * of(part);
  return sum;
}

const ofDf = new Map();
function studentT(df) {
  if (!ofDf.has(df)) ofDf.set(df, new StudentT(df));
  return ofDf.get(df);
}

/** A posterior with today's group in progress, by recursive least squares on pairs of a row and its response. */
class Group {
  constructor(known, rows) {
    const nuBefore = known.nu;
    this.nu = nuBefore + rows.length;
    this.rows = rows.length;
    this.nodes = [];
    const lnWeights = [];
    for (const [r, growth, weight, rssBefore, beta, covarianceBefore] of known.nodes) {
      const p = beta.length, theta = [...beta, 0];
      const covariance = [...covarianceBefore, ...new Array(p).fill(0), r * r];
      const response = new Array(p + 1).fill(0);
      let rss = rssBefore, lnDet = 0;
      for (const [{ x, size }, y] of rows) {
        const scale = size ** growth, own = scale * scale, z = [...x, scale];
        const timesZ = () => z.map((_, i) => z.reduce((sum, value, j) => sum + covariance[packed(i, j)] * value, 0));
        const less = (a, b) => {
          for (let i = 0; i <= p; i++) for (let j = 0; j <= i; j++) covariance[packed(i, j)] -= a[i] * b[j];
        };
        const cz = timesZ(), s = Math.max(dot(z, cz), 0) + own, gain = cz.map((value) => value / s);
        const e = y - dot(z, theta), eUnit = 1 - dot(z, response);
        for (let i = 0; i <= p; i++) {
          theta[i] += gain[i] * e;
          response[i] += gain[i] * eUnit;
        }
        less(cz, gain);
        // Joseph's form: nothing is left but rounding, which is all there is where a prior variance is enormous.
        const left = timesZ().map((value, i) => value - own * gain[i]);
        less(left, gain);
        rss += e * e / s;
        lnDet += Math.log(s);
      }
      lnWeights.push(Math.log(weight) - 0.5 * lnDet + 0.5 * nuBefore * Math.log(rssBefore) - 0.5 * this.nu * Math.log(rss));
      this.nodes.push({ weight: 0, growth, rss, theta, covariance, response });
    }
    const top = Math.max(...lnWeights);
    this.nodes.forEach((node, i) => (node.weight = Math.exp(lnWeights[i] - top)));
    const total = this.nodes.reduce((sum, node) => sum + node.weight, 0);
    for (const node of this.nodes) node.weight /= total;
  }
  mean(row) {
    return averaged(this.nodes, (n) => dot(entries(n, row, 1), n.theta));
  }
  coefficient(column) {
    return averaged(this.nodes, (n) => n.theta[column]);
  }
  share(row) {
    return averaged(this.nodes, (n) => dot(entries(n, row, 1), n.response));
  }
  next(row) {
    return this.mixture(row, 1, 1);
  }
  line(row) {
    return this.mixture(row, this.rows === 0 ? 0 : 1, 0);
  }
  mixture(row, effect, own) {
    return new Mixture(this.nu, this.nodes.map((n) => {
      const z = entries(n, row, effect), noise = own * row.size ** (2 * n.growth);
      const variance = n.rss / this.nu * (quadratic(n.covariance, z) + noise);
      return [n.weight, dot(z, n.theta), Math.sqrt(Math.max(variance, 0))];
    }));
  }
}

/** The entries of a row beside the coefficients and the day's effect, times `effect`; spreads grow with its size. */
function entries(node, row, effect) {
  return [...row.x, effect * row.size ** node.growth];
}

/** A mixture of Student's t with one number of degrees of freedom: a posterior predictive distribution. */
class Mixture {
  constructor(nu, all) {
    this.nu = nu;
    this.t = studentT(nu);
    const parts = all.filter(([weight]) => weight >= 1e-12);
    const total = parts.reduce((sum, [weight]) => sum + weight, 0);
    this.parts = parts.map(([weight, centre, scale]) => ({
      weight: weight / total, centre, scale: Math.max(scale, 2.2250738585072014e-308),
    }));
  }
  cdf(y) {
    return averaged(this.parts, (p) => this.t.cdf((y - p.centre) / p.scale));
  }
  /** Chance of a value at least as far out as y, on either side: twice the smaller tail. */
  twoSidedP(y) {
    return 2 * Math.min(this.cdf(y), averaged(this.parts, (p) => this.t.cdf((p.centre - y) / p.scale)));
  }
  pdf(y) {
    return averaged(this.parts, (p) => this.t.pdf((y - p.centre) / p.scale) / p.scale);
  }
}

/** The tabulated quantile function of a mixture, every value `shift` more (decide/tabulated.rs). */
class TabulatedQuantiles {
  constructor(mixture, shift) {
    const points = mixture.nu < 5 ? 41 : 25, centre = averaged(mixture.parts, (p) => p.centre), scale = averaged(mixture.parts, (p) => p.scale);
    const reach = mixture.t.reach;
    this.y = [];
    this.z = [];
    this.slope = [];
    for (let i = 0; i < points; i++) {
      const y = centre + scale * Math.sinh((2 * i / (points - 1) - 1) * reach), p = mixture.cdf(y);
      if (!(p >= 1e-9 && p <= 1 - 1e-9)) continue;
      const z = normalQuantile(p), density = mixture.pdf(y);
      if (density > 0 && (this.z.length === 0 || z > this.z[this.z.length - 1])) {
        this.y.push(y + shift);
        this.z.push(z);
        this.slope.push(normalPdf(z) / density);
      }
    }
    this.rise = this.slope.map((s) => 1 / s);
  }
  /** The value whose normal score is z. */
  atScore(z) {
    return interpolated(this.z, this.y, this.slope, z);
  }
  /** The normal score of a value. */
  score(y) {
    return interpolated(this.y, this.z, this.rise, y);
  }
  quantile(p) {
    return this.atScore(normalQuantile(p));
  }
  cdf(y) {
    return normalCdf(this.score(y));
  }
}

/** Cubic Hermite interpolation: cubics through points with slopes, straight on beyond the ends. */
function interpolated(x, y, slope, at) {
  const n = x.length;
  if (at <= x[0]) return y[0] + slope[0] * (at - x[0]);
  if (at >= x[n - 1]) return y[n - 1] + slope[n - 1] * (at - x[n - 1]);
  let i = 0, above = n - 1;
  while (above - i > 1) {
    const middle = (i + above) >> 1;
    if (x[middle] <= at) i = middle; else above = middle;
  }
  const width = x[i + 1] - x[i], t = (at - x[i]) / width, rise = (y[i + 1] - y[i]) / width;
  const c = 3 * rise - 2 * slope[i] - slope[i + 1], d = slope[i] + slope[i + 1] - 2 * rise;
  return y[i] + width * t * (slope[i] + t * (c + t * d));
}

/** One rig, build and trim as they stand before the next run, at the lead in use or at another of those tried. */
class Situation {
  constructor(known, rig, build, trim, travelRows, headingRows, at = rig.builds[build]) {
    Object.assign(this, { known, rig, build, trim, at });
    this.lead = at.lead_turns;
    this.travel = new Group(rig.travel, travelRows);
    this.heading = rig.heading && new Group(rig.heading, headingRows);
    this.curvature = rig.heading ? rig.heading.trims[trim].curvature_per_m : 0;
  }
  travelRow(turns) {
    return travelRow(this.rig, this.build, turns, this.lead);
  }
  headingRow(arc) {
    return headingRow(this.rig, this.trim, arc);
  }
  headingMean(arc) {
    return this.heading ? this.heading.mean(this.headingRow(arc)) : 0;
  }
  /** Turns and aim that put the mean of a run on the target, unrounded; null where none can. */
  plain(target) {
    const perTurn = this.travel.coefficient(this.rig.turns_column), arc = arcOfChord(target, this.curvature);
    if (!(perTurn > 0) || !Number.isFinite(arc)) return null;
    const mean = (turns) => this.travel.mean(this.travelRow(turns)), straight = (arc - mean(0)) / perTurn;
    return {
      // A day's shift grows with the turns, and bends the line.
      turns: this.travel.rows === 0 ? straight : rootOutward((turns) => mean(turns) - arc, straight, 0.1, 1e-9),
      aim: aimOffset(target, -this.headingMean(arc)),
      arc,
    };
  }
}

function travelRow(rig, build, turns, lead) {
  const x = new Array(rig.turns_column).fill(0);
  x[build] = 1;
  x.push(turns);
  if (rig.lead_mean_turns !== null) x.push(lead === null ? 0 : lead - rig.lead_mean_turns);
  return { x, size: Math.max(turns / rig.mean_turns, 0.05) };
}

function headingRow(rig, trim, arc) {
  const x = new Array(2 * rig.heading.trims.length).fill(0);
  x[2 * trim] = 1;
  x[2 * trim + 1] = arc / 2;
  return { x, size: 1 };
}

/** Positive nodes of Gauss–Legendre quadrature with 24 points on (−1, 1), with their weights. */
const GAUSS = [
  [0.06405689286260563, 0.12793819534675216],
  [0.1911188674736163, 0.1258374563468283],
  [0.3150426796961634, 0.12167047292780339],
  [0.4337935076260451, 0.1155056680537256],
  [0.5454214713888396, 0.10744427011596563],
  [0.6480936519369755, 0.09761865210411388],
  [0.7401241915785544, 0.08619016153195327],
  [0.820001985973903, 0.0733464814110803],
  [0.8864155270044011, 0.05929858491543678],
  [0.9382745520027328, 0.04427743881741981],
  [0.9747285559713095, 0.028531388628933663],
  [0.9951872199970213, 0.0123412297999872],
];

/** A quasi-random sample of pairs of normal scores (the R2 sequence). */
let cloud = null;
function cloudScores() {
  const g = 1.324717957244746, part = (x) => normalQuantile(x - Math.floor(x));
  cloud ??= Array.from({ length: 1024 }, (_, i) => [part(0.5 + (i + 1) / g), part(0.5 + (i + 1) / (g * g))]);
  return cloud;
}

/** The predictive distribution of one run at one setting. */
class Prediction {
  constructor(situation, target, turns, aim) {
    Object.assign(this, { situation, target, turns, aim });
    const row = situation.travelRow(turns);
    this.curvature = situation.curvature;
    this.arcMean = situation.travel.mean(row);
    this.arc = new TabulatedQuantiles(situation.travel.next(row), 0);
    this.alpha = aimHeading(target, aim);
    this.direction = situation.heading
      && new TabulatedQuantiles(situation.heading.next(situation.headingRow(this.arcMean)), this.alpha);
  }
  /** Chance of a miss of at most q. */
  missCdf(q) {
    const target = this.target, kappa = this.curvature;
    const arcOf = (chord) => {
      const arc = arcOfChord(Math.max(chord, 0), kappa);
      return Number.isFinite(arc) ? arc : Infinity;
    };
    if (this.situation.known.score.measure === "line") {
      const cos = Math.cos(this.direction ? this.direction.atScore(0) : 0);
      return this.arc.cdf(arcOf((target + q) / cos)) - this.arc.cdf(arcOf((target - q) / cos));
    }
    const bounded = (chord) => clamp(this.arc.score(arcOf(chord)), -6, 6);
    const low = bounded(target - q), high = bounded(target + q);
    const middle = 0.5 * (low + high), half = 0.5 * (high - low);
    let sum = 0;
    for (const [x, weight] of GAUSS.flatMap(([x, weight]) => [[x, weight], [-x, weight]])) {
      const theta = Math.PI / 2 * x, z = middle + half * Math.sin(theta);
      const arc = this.arc.atScore(z), chord = chordOfArc(arc, kappa);
      if (chord <= 0) continue;
      const reach = Math.acos(clamp((chord * chord + target * target - q * q) / (2 * chord * target), -1, 1));
      const turned = kappa * (arc - this.arcMean) / 2;
      const within = this.direction.cdf(reach - turned) - this.direction.cdf(-reach - turned);
      sum += weight * (Math.PI / 2) * half * Math.cos(theta) * normalPdf(z) * within;
    }
    return clamp(sum, 0, 1);
  }
  missQuantile(p) {
    if (this.missCdf(this.target) <= p) return this.target;
    return root((q) => this.missCdf(q) - p, 0, this.target, 1e-6 * this.target);
  }
  /** The miss not exceeded with the level's chance, m; null where it is not known. */
  missHigh() {
    if (!this.direction && this.situation.known.score.measure !== "line") return null;
    return this.missQuantile(Math.max(this.situation.known.level, 0.5));
  }
  /** The chance of stopping nearer than this, m; null where it is not known. */
  beatChance(within) {
    if (!this.direction && this.situation.known.score.measure !== "line") return null;
    return this.missCdf(within);
  }
  arcScale() {
    return 0.5 * (this.arc.atScore(1) - this.arc.atScore(-1));
  }
  directionScale() {
    return this.direction ? 0.5 * (this.direction.atScore(1) - this.direction.atScore(-1)) : 0;
  }
}

/** The obstacle as a target places it; null without one, and for a target before it (calibration/heading.rs). */
function obstacleAt(known, target) {
  const o = known.obstacle, at = o ? o.at_m ?? o.at_fraction * target : target;
  if (at >= target) return null;
  const centre = [at, o.right_m], reach = (o.diameter_m + (known.width_m ?? 0)) / 2;
  return {
    side: o.side,
    gap(heading, curvature, arc) {
      const [right, along] = offsetFromPath(centre, heading, curvature, arc);
      return [o.side * right - reach, along];
    },
  };
}

/** Gap past the obstacle and chances of a touch and of leaving the lane (decide/clearance.rs). */
function clearance(prediction) {
  const { situation, target, curvature, arcMean, alpha } = prediction, known = situation.known;
  const out = { gap: null, touch: null, leave: null };
  if (!situation.heading || (!known.obstacle && known.lane_half_width_m === null)) return out;
  const place = obstacleAt(known, target);
  if (place) {
    const along = place.gap(alpha + situation.headingMean(0), curvature, arcMean)[1];
    const heading = new TabulatedQuantiles(situation.heading.next(situation.headingRow(along)), alpha);
    const turned = curvature * along / 2;
    const gap = (h) => place.gap(h, curvature, arcMean)[0], tail = 0.5 * (1 - known.level);
    const [low, estimate, high] = [tail, 0.5, 1 - tail].map((p) => gap(heading.quantile(p) - turned));
    out.gap = { estimate, low: Math.min(low, estimate, high) };
    const closing = root(gap, -1.2, 1.2, 1e-9);
    if (closing === null) out.touch = gap(0) > 0 ? 0 : 1;
    else if (place.side > 0) out.touch = 1 - heading.cdf(closing + turned);
    else out.touch = heading.cdf(closing + turned);
  }
  out.leave = leaveChance(prediction, 0, 0);
  return out;
}

/** Chance of leaving the lane by a run that goes `farther`, and `turned` more to the right, than predicted; null without one. */
function leaveChance(prediction, farther, turned) {
  const { situation, curvature, direction } = prediction, known = situation.known;
  if (known.lane_half_width_m === null || !direction) return null;
  const free = known.lane_half_width_m - (known.width_m ?? 0) / 2;
  if (free <= 0) return 1;
  const arc = prediction.arcMean + farther, by = curvature * prediction.arcMean / 2 - turned;
  // Out to the left is out to the right in a mirror.
  const right = 1 - direction.cdf(headingReaching(free, curvature, arc) + by);
  const left = direction.cdf(-headingReaching(free, -curvature, arc) + by);
  return Math.min(right + left, 1);
}

/**
 * The expected score at turns and an aim mark near those of a prediction (decide/score.rs, Cost), or what of it the aim mark is
 * chosen by: where only the distance along counts, touches alone.
 */
function scorer(situation, plain) {
  const { known, rig } = situation, score = known.score, target = plain.target;
  const perTurn = situation.travel.coefficient(rig.turns_column), kappa = situation.curvature;
  const obstacle = score.touch_penalty > 0 ? obstacleAt(known, target) : null;
  const runs = cloudScores().map(([along, across]) => [
    plain.arc.atScore(along), plain.direction ? plain.direction.atScore(across) : 0]);
  return (turns, aim, forAim = false) => {
    const touchesAlone = forAim && score.measure === "line";
    const farther = perTurn * (turns - plain.turns), turned = aimHeading(target, aim) - plain.alpha;
    let sum = 0;
    for (const [arcAt, directionAt] of runs) {
      const arc = Math.max(arcAt + farther, 0), psi = directionAt + turned + kappa * (arc - plain.arcMean) / 2;
      const chord = chordOfArc(arc, kappa), long = chord * Math.cos(psi) - target;
      const right = chord * Math.sin(psi);
      const miss = score.measure === "line" ? Math.abs(long) : Math.hypot(long, right);
      let cost = touchesAlone ? 0 : score.per_cm * 100 * Math.min(miss, target);
      if (!touchesAlone && long > score.long_limit_m) cost += score.long_penalty;
      if (obstacle && obstacle.gap(psi - kappa * arc / 2, kappa, arc)[0] <= 0) cost += score.touch_penalty;
      if (!touchesAlone && rig.time && score.per_s > 0) cost += score.per_s * Math.max(rig.time[0] + rig.time[1] * arc, 0);
      sum += cost;
    }
    return sum / runs.length;
  };
}

/** The first of the whole numbers from one to another that is good enough: the last is (decide/score.rs). */
function firstGood(from, last, good) {
  if (good(from)) return from;
  let short = from, found = last;
  while (Math.abs(found - short) > 1) {
    const middle = short + Math.trunc((found - short) / 2);
    if (good(middle)) found = middle; else short = middle;
  }
  return found;
}

/** The setting with the least expected score under penalties (decide/score.rs): ticks and aim steps in turn. */
function leastScore(situation, plain, turnsExact, aimExact) {
  const { known, rig } = situation, target = plain.target, meanCost = scorer(situation, plain);
  const perTurn = situation.travel.coefficient(rig.turns_column), tick = 1 / known.ticks_per_turn;
  // Of costs equal within a billionth, the smaller setting. Of very many only every so-manyth, then those around it.
  const cheapest = (from, to, cost, size) => {
    const every = Math.floor((to - from) / 500) + 1;
    let best = null, least = 0;
    for (let at = from; at <= to; at += every) {
      const c = cost(at);
      if (best !== null && (c > least + 1e-9 || (c >= least - 1e-9 && size(at) >= size(best)))) continue;
      best = at;
      least = c;
    }
    return every === 1 ? best : cheapest(Math.max(best - every, from), Math.min(best + every, to), cost, size);
  };
  const step = known.aim_step_m;
  const turnsReach = Math.min(Math.ceil((2 * plain.arcScale() / perTurn + 2) / tick), 1e9);
  const aimReach = Math.min(Math.ceil((2 * plain.directionScale() * target + 0.3) / step), 1e9);
  const firstTicks = Math.max(steps(turnsExact, tick), 0), firstAim = steps(aimExact, step);
  // Of aim marks the first, from the plain one on, that nobody can tell from the cheapest, and none that leaves the lane for it.
  const aimAt = (turns) => {
    const leaves = (a) => leaveChance(plain, perTurn * (turns - plain.turns), aimHeading(target, a * step) - plain.alpha) ?? 0;
    const leavesMost = Math.max(known.touch_accept, leaves(firstAim));
    const cost = (a) => (leaves(a) <= leavesMost ? meanCost(turns, a * step, true) : Infinity);
    const best = cheapest(firstAim - aimReach, firstAim + aimReach, cost, (a) => Math.abs(a - firstAim));
    const enough = cost(best) + known.score.per_cm * 100 * 0.001;
    return firstGood(firstAim, best, (a) => cost(a) <= enough);
  };
  let ticks = firstTicks, aim = firstAim;
  for (let pass = 0; pass < 8; pass++) {
    const before = [ticks, aim];
    ticks = cheapest(Math.max(firstTicks - turnsReach, 0), firstTicks + turnsReach,
      (t) => meanCost(t * tick, aim * step), (t) => t);
    if (plain.direction) aim = aimAt(turnsOf(ticks, known.ticks_per_turn));
    if (before[0] === ticks && before[1] === aim) break;
  }
  return { ticks, aim: steps(aim * step, step) * step };
}

/** How far beside the target a setting aims because the score asks for it, in words (decide/on_purpose.rs). */
function onPurpose(words, longCm, rightCm) {
  const side = (cm, plus, minus) => (Math.abs(cm) < 0.5 ? [] : [`${Math.round(Math.abs(cm))} cm ${cm > 0 ? plus : minus}`]);
  const along = side(longCm, "long", "short"), both = [...along, ...side(rightCm, "to the right", "to the left")];
  const sentence = along.length > 0 ? words.on_purpose : words.on_purpose_aside;
  return sentence === null || both.length === 0 ? [] : [sentence.replace("#", both.join(" and "))];
}

const turnsOf = (ticks, perTurn) => Math.floor(ticks / perTurn) + (ticks % perTurn) / perTurn;

/**
 * Everything to set for one target, and what to expect; null where no setting exists (decide/dial.rs). `beat` is a distance
 * from the target, m, to stop nearer than; null without one.
 */
function settingFor(situation, target, beat = null) {
  const { known, rig } = situation, plain = situation.plain(target);
  if (!plain) return null;
  const per = known.ticks_per_turn, score = known.score;
  let ticks = Math.max(steps(plain.turns, 1 / per), 0);
  let aim = steps(plain.aim, known.aim_step_m) * known.aim_step_m;
  let prediction = new Prediction(situation, target, turnsOf(ticks, per), aim), beside = [0, 0];
  if (score.per_s !== 0 || score.long_penalty !== 0 || score.touch_penalty !== 0) {
    const least = leastScore(situation, prediction, plain.turns, plain.aim);
    if (least.ticks !== ticks || least.aim !== aim) {
      const other = [least.ticks !== ticks, least.aim !== aim && situation.heading];
      ({ ticks, aim } = least);
      prediction = new Prediction(situation, target, turnsOf(ticks, per), aim);
      const psi = prediction.alpha + situation.headingMean(prediction.arcMean);
      const chord = chordOfArc(prediction.arcMean, situation.curvature);
      beside = [other[0] ? chord * Math.cos(psi) - target : 0, other[1] ? chord * Math.sin(psi) : 0];
    }
  }
  const way = clearance(prediction), at = situation.at, words = known.words, warnings = [];
  if (plain.arc < rig.arc_range_m[0] - rig.arc_room_m || plain.arc > rig.arc_range_m[1] + rig.arc_room_m) {
    warnings.push(words.extrapolated);
  }
  if (plain.turns < 0) warnings.push(words.too_near);
  const tail = 0.5 * (1 - known.level);
  const short = (n) => situation.travel.line(situation.travelRow(n)).cdf(plain.arc);
  if (!(plain.turns > 0 && short(0) >= 1 - tail && short(3 * plain.turns) <= tail)) warnings.push(words.flat);
  if (way.touch !== null && way.touch > known.touch_accept) warnings.push(words.touch);
  if (way.leave !== null && way.leave > known.touch_accept) warnings.push(words.leaves_lane);
  warnings.push(...onPurpose(words, 100 * beside[0], 100 * beside[1]));
  return {
    turns: Math.floor(ticks / per),
    ticks: ticks % per,
    aim_m: situation.heading ? aim : null,
    lead_turns: situation.lead,
    recoil_chance: at.recoil_chance,
    miss_high_m: prediction.missHigh(),
    beat_chance: beat === null ? null : prediction.beatChance(beat),
    gap_m: way.gap,
    touch_chance: way.touch,
    leave_chance: way.leave,
    warnings: [...warnings, ...at.warnings, ...(rig.heading ? rig.heading.trims[situation.trim].warnings : []),
      ...rig.warnings],
  };
}

/** What a run of today tells the fits (decide/correct.rs): rows of travel and of heading, or null. */
function toldBy(known, rig, leadInUse, run) {
  const told = { travel: null, heading: null, recoil: run.status === "recoil", lead: run.lead_turns ?? leadInUse };
  if (run.status !== "ok" && run.status !== "recoil") return told;
  const rest = run.target_m + run.long_cm / 100;
  const right = run.right_cm === null ? 0 : run.right_cm / 100;
  const trim = rig.heading ? rig.heading.trims[run.trim] : null;
  const psi = Math.atan2(right, rest);
  let chord = Math.hypot(rest, right);
  if (trim && run.right_cm === null && run.aim_right_cm !== null) {
    // Not measured across: as the heading line would have it (calibration/heading.rs, chord_without_right).
    const line = new Situation(known, rig, run.build, run.trim, [], []);
    chord = rest / Math.cos(aimHeading(run.target_m, run.aim_right_cm / 100) + line.headingMean(rest));
  }
  const arc = arcOfChord(chord, trim ? trim.curvature_per_m : 0);
  if (!Number.isFinite(arc) || chord <= 0) return told;
  const turns = run.turns + (run.ticks ?? 0) / known.ticks_per_turn;
  const inUse = rig.builds[run.build].lead_turns, lead = run.lead_turns;
  // One that rolled back at the lead in use or less counts where it came to rest: it will do so again.
  const stopped = run.status === "ok" || lead === null || inUse === null || lead <= inUse;
  if (stopped) told.travel = [travelRow(rig, run.build, turns, told.lead), arc];
  if (trim && run.right_cm !== null && run.aim_right_cm !== null) {
    told.heading = [headingRow(rig, run.trim, arc), psi - aimHeading(run.target_m, run.aim_right_cm / 100)];
  }
  return told;
}

/**
 * The least probable of some runs given the others (decide/doubt.rs), along and across apart; null of none. One that rolled
 * back speaks for another run but never against it, and is none unless it is farther off than rolling back explains
 * (calibration/recoil.rs); one that is believed is none either.
 */
function leastProbable(rig, told, kept) {
  let least = null;
  for (const kind of ["travel", "heading"]) {
    if (!rig[kind]) continue;
    for (const i of kept) {
      const own = told[i][kind];
      if (!own || told[i].believed) continue;
      const others = kept.filter((j) => j !== i && told[j][kind]);
      const given = (rows) => {
        const expected = new Group(rig[kind], rows.map((j) => told[j][kind])).next(own[0]);
        return { run: i, across: kind === "heading", off: own[1] - averaged(expected.parts, (p) => p.centre), p: expected.twoSidedP(own[1]) };
      };
      let held = given(others);
      if (others.some((j) => told[j].recoil)) {
        const without = given(others.filter((j) => !told[j].recoil));
        if (without.p > held.p) held = without;
      }
      if (told[i].recoil && (kind === "heading" || Math.abs(held.off) < rig.beyond_rolling_back_m)) continue;
      if (least === null || held.p < least.p) least = held;
    }
  }
  return least;
}

/** Runs that tell something, and those of them that are doubted and left out (decide/correct.rs). */
function usedAndDoubted(rig, told) {
  const doubted = [];
  let kept = told.map((_, i) => i).filter((i) => told[i].travel || told[i].heading);
  for (;;) {
    const least = leastProbable(rig, told, kept);
    if (least === null || !(least.p < 1e-3)) return { kept, doubted };
    doubted.push({ ...least, alone: kept.length === 1 });
    kept = kept.filter((i) => i !== least.run);
  }
}

/** The largest lead tried that is below the lead in use and all leads at which a run of today rolled back; or null. */
function lessLead(before, rolledBack) {
  if (rolledBack.length === 0 || before.lead === null) return null;
  const below = Math.min(before.lead, ...rolledBack.map((t) => t.lead).filter((lead) => lead !== null));
  return before.rig.builds[before.build].tried.filter((at) => at.lead_turns < below).pop() ?? null;
}

/**
 * After today's runs: the setting for a target, shares, what each run told, the runs that are doubted, and after a run that
 * rolled back the other way on.
 */
function answer(known, rig, build, trim, runs, target, beat = null) {
  const before = new Situation(known, rig, build, trim, [], []);
  const told = runs.map((run) => ({ ...toldBy(known, rig, before.lead, run), believed: run.believed }));
  const { kept, doubted } = usedAndDoubted(rig, told);
  const rows = (kind, of = () => true) => kept.map((i) => told[i]).filter((t) => t[kind] && of(t)).map((t) => t[kind]);
  const headingRows = rows("heading");
  const now = new Situation(known, rig, build, trim, rows("travel"), headingRows);
  const rolledBack = kept.map((i) => told[i]).filter((t) => t.recoil && t.travel);
  const out = { told, doubted, used: kept.length, rolled_back: rolledBack.length, setting: null, less_lead: null };
  if (target === null) return out;
  out.setting = settingFor(now, target, beat);
  const less = lessLead(before, rolledBack);
  if (less) {
    const other = new Situation(known, rig, build, trim, rows("travel", (t) => !t.recoil), headingRows, less);
    out.less_lead = settingFor(other, target, beat);
  }
  const plain = before.plain(target);
  if (!plain || !out.setting || out.used === 0) return out;
  const row = before.travelRow(plain.turns);
  out.share_along = now.travel.share(row);
  out.shift_long_m = now.travel.mean(row) - before.travel.mean(row);
  if (headingRows.length > 0) {
    out.share_across = now.heading.share(now.headingRow(plain.arc));
    out.shift_right_m = (now.headingMean(plain.arc) - before.headingMean(plain.arc)) * target;
  }
  return out;
}
