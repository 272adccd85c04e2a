//! A small network of one hidden layer: what several kinds of evidence are judged by.

/// Weights, as made by the scripts under `tests/reference`.
pub(super) struct Network<const INPUTS: usize, const UNITS: usize> {
    /// Mean and standard deviation of each number that it reads.
    pub mean: [f32; INPUTS],
    pub spread: [f32; INPUTS],
    /// Weights of the numbers in each hidden unit, and what is added.
    pub hidden_weight: [[f32; INPUTS]; UNITS],
    pub hidden_bias: [f32; UNITS],
    /// Weights of the hidden units.
    pub out_weight: [f32; UNITS],
    /// Weights of the numbers themselves.
    pub straight_weight: [f32; INPUTS],
    pub out_bias: f32,
}

/// No number further from its mean than this many spreads counts: what was never seen must not decide.
const UNUSUAL: f32 = 4.0;

impl<const INPUTS: usize, const UNITS: usize> Network<INPUTS, UNITS> {
    /// What it makes of `numbers`: natural logarithm of odds, up to a constant that whoever asks knows.
    pub fn log_odds(&self, numbers: &[f32; INPUTS]) -> f64 {
        let mut usual = [0.0; INPUTS];
        for (((to, number), mean), spread) in usual.iter_mut().zip(numbers).zip(&self.mean).zip(&self.spread) {
            *to = ((number - mean) / spread).clamp(-UNUSUAL, UNUSUAL);
        }
        let hidden = self.hidden_weight.iter().zip(&self.hidden_bias);
        let units = hidden.map(|(weights, bias)| (bias + dot(weights, &usual)).max(0.0));
        let bent: f32 = units.zip(&self.out_weight).map(|(unit, weight)| unit * weight).sum();
        f64::from(self.out_bias + dot(&self.straight_weight, &usual) + bent)
    }
}

/// In eight sums that do not wait for each other.
fn dot<const N: usize>(a: &[f32; N], b: &[f32; N]) -> f32 {
    const LANES: usize = 8;
    let mut sums = [0.0; LANES];
    let ((a, a_rest), (b, b_rest)) = (a.as_chunks::<LANES>(), b.as_chunks::<LANES>());
    for (x, y) in a.iter().zip(b) {
        for (sum, (x, y)) in sums.iter_mut().zip(x.iter().zip(y)) {
            *sum += x * y;
        }
    }
    sums.iter().sum::<f32>() + a_rest.iter().zip(b_rest).map(|(x, y)| x * y).sum::<f32>()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: numbers 3 and 100 are 1 and, held, 4 spreads off their means; the first unit is 1 + 2 x 1 - 4 = -1, so silent,
    /// the second 0.5 + 1 + 4 = 5.5; straight 0.1 x 1 + 0.2 x 4 = 0.9; in all 0.25 + 0.9 + 2 x 5.5 = 12.15.
    #[test]
    fn a_network_by_hand() {
        let network = Network {
            mean: [1.0, 0.0],
            spread: [2.0, 10.0],
            hidden_weight: [[2.0, -1.0], [1.0, 1.0]],
            hidden_bias: [1.0, 0.5],
            out_weight: [7.0, 2.0],
            straight_weight: [0.1, 0.2],
            out_bias: 0.25,
        };
        assert!((network.log_odds(&[3.0, 100.0]) - 12.15).abs() < 1e-6);
    }
}
