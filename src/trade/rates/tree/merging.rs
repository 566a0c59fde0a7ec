//! Values of known precision, merged into one.

/// A node of the tree before it is weighed against the one above it: precision and value of what is below.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Node {
    pub(super) precision: f64,
    pub(super) value: f64,
    /// What merging its children adds to the log likelihood.
    pub(super) log_likelihood: f64,
}

/// Merges children of known precision.
///
/// P = Σp, z̄ = Σpz/P, and the log likelihood gains ½(Σ ln p − ln P) − ½ Σ p (z − z̄)².
#[derive(Clone, Copy, Debug)]
pub(super) struct Merging {
    precision: f64,
    first: f64,
    moved: f64,
    squared: f64,
    logs: Logs,
}

impl Merging {
    pub(super) fn new(first: f64) -> Merging {
        Merging {
            precision: 0.0,
            first,
            moved: 0.0,
            squared: 0.0,
            logs: Logs::default(),
        }
    }

    #[inline]
    pub(super) fn add(&mut self, precision: f64, value: f64) {
        let apart = value - self.first; // Sums about the first child lose no digits.
        self.precision += precision;
        self.moved += precision * apart;
        self.squared += precision * apart * apart;
        self.logs.add(precision);
    }

    pub(super) fn node(self) -> Node {
        let moved = self.moved / self.precision;
        let spread = (self.squared - self.moved * moved).max(0.0);
        Node {
            precision: self.precision,
            value: self.first + moved,
            log_likelihood: 0.5 * (self.logs.sum() - libm::log(self.precision) - spread),
        }
    }
}

/// A sum of logarithms, taken of products as far as they fit: a logarithm costs as much as ten multiplications.
#[derive(Clone, Copy, Debug)]
pub(super) struct Logs {
    sum: f64,
    product: f64,
}

impl Default for Logs {
    fn default() -> Logs {
        Logs {
            sum: 0.0,
            product: 1.0,
        }
    }
}

impl Logs {
    #[inline]
    pub(super) fn add(&mut self, value: f64) {
        self.product *= value;
        if !(1e-100..1e100).contains(&self.product) {
            self.sum += libm::log(self.product);
            self.product = 1.0;
        }
    }

    pub(super) fn sum(self) -> f64 {
        self.sum + libm::log(self.product)
    }
}
