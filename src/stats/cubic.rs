//! Cubics through points with a slope at each (Hermite).

/// Value and slope at `at` of the cubic through the points (x, y) with these slopes.
pub fn through(x: (f64, f64), y: (f64, f64), slope: (f64, f64), at: f64) -> (f64, f64) {
    let width = x.1 - x.0;
    let t = (at - x.0) / width;
    let rise = (y.1 - y.0) / width;
    let (c, d) = (
        3.0 * rise - 2.0 * slope.0 - slope.1,
        slope.0 + slope.1 - 2.0 * rise,
    );
    (
        y.0 + width * t * (slope.0 + t * (c + t * d)),
        slope.0 + t * (2.0 * c + 3.0 * t * d),
    )
}

/// Cubics through many points, straight on beyond both ends.
#[derive(Debug, Clone)]
pub struct Pieces {
    /// The points' places, rising.
    x: Vec<f64>,
    /// Value, slope and what goes with the square and the cube of the distance from a piece's first point. The line before
    /// all points comes first, counted from the first of them.
    powers: Vec<[f64; 4]>,
}

impl Pieces {
    /// Through at least one point (x, y), x rising, with its slope.
    pub fn new(x: Vec<f64>, y: &[f64], slope: impl Fn(usize) -> f64) -> Self {
        let last = x.len() - 1;
        let mut powers = Vec::with_capacity(x.len() + 1);
        powers.push([y[0], slope(0), 0.0, 0.0]);
        for i in 0..last {
            let width = x[i + 1] - x[i];
            let rise = (y[i + 1] - y[i]) / width;
            let (from, to) = (slope(i), slope(i + 1));
            let square = (3.0 * rise - 2.0 * from - to) / width;
            let cube = (from + to - 2.0 * rise) / (width * width);
            powers.push([y[i], from, square, cube]);
        }
        powers.push([y[last], slope(last), 0.0, 0.0]);
        Pieces { x, powers }
    }

    /// The value at a place.
    pub fn at(&self, x: f64) -> f64 {
        self.at_near(&mut (self.x.len() / 2), x)
    }

    /// The same for many places in a row: the piece is looked for from that of the last, which `piece` holds.
    pub fn at_near(&self, piece: &mut usize, x: f64) -> f64 {
        while *piece < self.x.len() && x >= self.x[*piece] {
            *piece += 1;
        }
        while *piece > 0 && x < self.x[*piece - 1] {
            *piece -= 1;
        }
        let t = x - self.x[piece.saturating_sub(1)];
        let [c0, c1, c2, c3] = self.powers[*piece];
        c0 + t * (c1 + t * (c2 + t * c3))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The same cubic through its points at −1, 0 and 2 (values 11, 2 and −28, slopes −22, −1 and −49, by hand), and its
    /// tangents beyond.
    #[test]
    fn pieces_of_a_cubic_are_the_cubic() {
        let pieces = Pieces::new(vec![-1.0, 0.0, 2.0], &[11.0, 2.0, -28.0], |i| {
            [-22.0, -1.0, -49.0][i]
        });
        let mut piece = 0;
        for at in [2.0, -0.4, 0.0, 1.9, -1.0, 1.3, 1.2] {
            let wanted = 2.0 - at + 3.0 * at * at - 5.0 * f64::powi(at, 3);
            assert!((pieces.at(at) - wanted).abs() < 1e-13, "{at}");
            assert_eq!(pieces.at(at), pieces.at_near(&mut piece, at), "{at}");
        }
        assert!((pieces.at(-3.0) - 55.0).abs() < 1e-13);
        assert!((pieces.at(4.0) + 126.0).abs() < 1e-13);
    }

    /// 2 − x + 3x² − 5x³ at −1 and 2, by hand: 11 and −28, slopes −22 and −49.
    #[test]
    fn a_cubic_comes_out_as_itself() {
        for at in [-1.0, -0.4, 0.0, 1.3, 2.0] {
            let (value, slope) = through((-1.0, 2.0), (11.0, -28.0), (-22.0, -49.0), at);
            let wanted = 2.0 - at + 3.0 * at * at - 5.0 * at.powi(3);
            assert!((value - wanted).abs() < 1e-13, "{at}: {value} {wanted}");
            let wanted = -1.0 + 6.0 * at - 15.0 * at * at;
            assert!((slope - wanted).abs() < 1e-13, "{at}: {slope} {wanted}");
        }
    }
}
