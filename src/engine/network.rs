//! The forward pass of the network, one step at a time, for all twelve possible
//! centers at once: `tests/training/network.py` is the same in training.
//!
//! An entrance with rectified linear units, a memory of gated recurrent units (Cho et
//! al. 2014, arXiv:1406.1078; gates as PyTorch has them: reset, update, new) and
//! linear heads. Every view has the same weights and goes through the same
//! operations in the same order, so turned input gives turned output to the last bit.

use super::features::{BLOCKS, INPUTS, Inputs, SCALARS};
use super::weights::Model;
use std::sync::Arc;

/// The possible centers, each a view of the same music.
const VIEWS: usize = 12;
/// What a view says: center, no center, twelve degrees, root of the chord.
pub const HEADS: usize = 15;
/// Rows of a matrix that are worked on together: as many as two vector registers hold.
const ROWS: usize = 16;

/// One number for each view.
pub type Views = [f32; VIEWS];
/// What each net remembers.
pub type Memories = Vec<Vec<Views>>;
/// A group of rows for each view.
type Panel = [[f32; ROWS]; VIEWS];

/// A matrix with a bias, in groups of [`ROWS`] rows filled up with zeros; in each
/// group column after column.
#[derive(Debug)]
struct Matrix {
    columns: usize,
    weights: Vec<[f32; ROWS]>,
    bias: Vec<[f32; ROWS]>,
}

impl Matrix {
    /// From rows of `columns` weights, filled up with zeros to `padded`.
    fn new(rows: &[f32], columns: usize, padded: usize, bias: &[f32]) -> Matrix {
        let mut m = Matrix {
            columns: padded,
            weights: Vec::new(),
            bias: Vec::new(),
        };
        for (rows, bias) in rows.chunks(columns * ROWS).zip(bias.chunks(ROWS)) {
            let at = |row: usize, column: usize| match rows.get(row * columns + column) {
                Some(&w) if column < columns => w,
                _ => 0.0,
            };
            let group = |c| std::array::from_fn(|r| at(r, c));
            m.weights.extend((0..padded).map(group));
            m.bias
                .push(std::array::from_fn(|r| bias.get(r).copied().unwrap_or(0.0)));
        }
        m
    }

    /// A group of rows: its weights, a column an item, and its bias.
    #[inline(always)]
    fn group(&self, g: usize) -> (&[[f32; ROWS]], [f32; ROWS]) {
        let weights = &self.weights[g * self.columns..][..self.columns];
        (weights, self.bias[g])
    }
}

/// One network's weights.
#[derive(Debug)]
pub struct Net {
    enter: Matrix,
    /// Reset, update and new gates: what they take from the input …
    from_input: [Matrix; 3],
    /// … and from the memory.
    from_memory: [Matrix; 3],
    heads: Matrix,
    /// Hidden units in groups of [`ROWS`].
    groups: usize,
}

impl Net {
    /// From [`super::weights::weights`] numbers in the order of the file.
    pub(super) fn new(values: &[f32], hidden: usize) -> Net {
        let groups = hidden.div_ceil(ROWS);
        let padded = groups * ROWS;
        let mut rest = values;
        let mut take = |n: usize| {
            let (first, others) = rest.split_at(n.min(rest.len()));
            rest = others;
            first
        };
        let square = 3 * hidden * hidden;
        let (enter, enter_bias) = (take(hidden * INPUTS), take(hidden));
        let (input, memory) = (take(square), take(square));
        let (input_bias, memory_bias) = (take(3 * hidden), take(3 * hidden));
        let (heads, heads_bias) = (take(HEADS * hidden), take(HEADS));
        let gates = |weights: &[f32], bias: &[f32]| {
            [0, 1, 2].map(|gate| {
                let weights = &weights[gate * hidden * hidden..][..hidden * hidden];
                Matrix::new(weights, hidden, padded, &bias[gate * hidden..][..hidden])
            })
        };
        Net {
            enter: Matrix::new(enter, INPUTS, INPUTS, enter_bias),
            from_input: gates(input, input_bias),
            from_memory: gates(memory, memory_bias),
            heads: Matrix::new(heads, hidden, padded, heads_bias),
            groups,
        }
    }
}

/// The networks at one moment: what they remember, and room to work in.
#[derive(Clone, Debug)]
pub struct Network {
    model: Arc<Model>,
    memories: Memories,
    next: Vec<Views>,
    entered: Vec<Views>,
    turned: Box<[Views; INPUTS]>,
    heads: [Views; HEADS],
    /// Whether the processor has AVX2 and FMA.
    wide: bool,
}

impl Network {
    pub fn model(&self) -> Arc<Model> {
        Arc::clone(&self.model)
    }

    pub fn new(model: Arc<Model>) -> Network {
        let units = |net: &Net| vec![[0.0; VIEWS]; net.groups * ROWS];
        let memories: Memories = model.nets.iter().map(units).collect();
        let room = memories.first().cloned().unwrap_or_default();
        #[cfg(target_arch = "x86_64")]
        let wide = is_x86_feature_detected!("avx2") && is_x86_feature_detected!("fma");
        #[cfg(not(target_arch = "x86_64"))]
        let wide = false;
        Network {
            memories,
            next: room.clone(),
            entered: room,
            turned: Box::new([[0.0; VIEWS]; INPUTS]),
            heads: [[0.0; VIEWS]; HEADS],
            wide,
            model,
        }
    }

    /// Forgets all.
    pub fn reset(&mut self) {
        for memory in &mut self.memories {
            memory.fill([0.0; VIEWS]);
        }
    }

    pub fn memories(&self) -> &Memories {
        &self.memories
    }

    /// Goes back to memories of its own.
    pub fn restore(&mut self, memories: &Memories) {
        self.memories.clone_from(memories);
    }

    /// One step: what each view says, averaged over the nets.
    pub fn step(&mut self, inputs: &Inputs) -> &[Views; HEADS] {
        #[cfg(target_arch = "x86_64")]
        if self.wide {
            // SAFETY: `wide` was set because the processor has these features; the
            // function is safe but for that.
            unsafe { self.forward_wide(inputs) };
            return &self.heads;
        }
        self.forward::<false>(inputs);
        &self.heads
    }

    #[cfg(target_arch = "x86_64")]
    #[target_feature(enable = "avx2,fma")]
    fn forward_wide(&mut self, inputs: &Inputs) {
        self.forward::<true>(inputs);
    }

    #[inline(always)]
    fn forward<const WIDE: bool>(&mut self, inputs: &Inputs) {
        // View v has pitch class v + j where another has j.
        for (block, rows) in inputs.blocks.iter().zip(self.turned.chunks_exact_mut(12)) {
            for (j, row) in rows.iter_mut().enumerate() {
                *row = std::array::from_fn(|v| block[(v + j) % 12]);
            }
        }
        for (&scalar, row) in inputs.scalars.iter().zip(&mut self.turned[BLOCKS * 12..]) {
            *row = [scalar; VIEWS];
        }
        // Many blocks are empty: nothing is struck in most steps.
        let mut silent = [false; BLOCKS];
        for (s, block) in silent.iter_mut().zip(&inputs.blocks) {
            *s = block.iter().all(|&x| x == 0.0);
        }
        self.heads = [[0.0; VIEWS]; HEADS];
        for (net, memory) in self.model.nets.iter().zip(&mut self.memories) {
            enter::<WIDE>(&net.enter, &self.turned, &silent, &mut self.entered);
            remember::<WIDE>(net, &self.entered, memory, &mut self.next);
            std::mem::swap(memory, &mut self.next);
            for g in 0..HEADS.div_ceil(ROWS) {
                let (weights, bias) = net.heads.group(g);
                let mut sums = [bias; VIEWS];
                multiply::<WIDE>(weights, memory, &mut sums);
                for (r, head) in self.heads[g * ROWS..].iter_mut().take(ROWS).enumerate() {
                    for v in 0..VIEWS {
                        head[v] += sums[v][r];
                    }
                }
            }
        }
        let nets = self.model.nets.len() as f32;
        for view in self.heads.as_flattened_mut() {
            *view /= nets;
        }
    }
}

#[inline(always)]
fn enter<const WIDE: bool>(
    matrix: &Matrix,
    turned: &[Views; INPUTS],
    silent: &[bool; BLOCKS],
    out: &mut [Views],
) {
    for (g, out) in out.chunks_exact_mut(ROWS).enumerate() {
        let (weights, bias) = matrix.group(g);
        let mut sums = [bias; VIEWS];
        for (b, &silent) in silent.iter().enumerate() {
            if !silent {
                multiply::<WIDE>(&weights[b * 12..][..12], &turned[b * 12..][..12], &mut sums);
            }
        }
        let scalars = INPUTS - SCALARS;
        multiply::<WIDE>(&weights[scalars..], &turned[scalars..], &mut sums);
        for (r, out) in out.iter_mut().enumerate() {
            for v in 0..VIEWS {
                out[v] = sums[v][r].max(0.0);
            }
        }
    }
}

#[inline(always)]
fn remember<const WIDE: bool>(net: &Net, input: &[Views], memory: &[Views], next: &mut [Views]) {
    for (g, next) in next.chunks_exact_mut(ROWS).enumerate() {
        // The reset and the update gate take input and memory alike; the new one
        // takes of the memory what the reset gate leaves.
        let mut sums = [[[0.0; ROWS]; VIEWS]; 4];
        for (gate, place) in [(0, 0), (1, 1), (2, 3)] {
            let (weights, bias) = net.from_input[gate].group(g);
            sums[gate] = [bias; VIEWS];
            multiply::<WIDE>(weights, input, &mut sums[gate]);
            let (weights, bias) = net.from_memory[gate].group(g);
            let sums = &mut sums[place];
            for sum in sums.as_flattened_mut().chunks_exact_mut(ROWS) {
                for (s, b) in sum.iter_mut().zip(&bias) {
                    *s += b;
                }
            }
            multiply::<WIDE>(weights, memory, sums);
        }
        let [resets, updates, from_input, from_memory] = &sums;
        let mut before: Panel = [[0.0; ROWS]; VIEWS];
        for (r, unit) in memory[g * ROWS..][..ROWS].iter().enumerate() {
            for v in 0..VIEWS {
                before[v][r] = unit[v];
            }
        }
        let mut after: Panel = [[0.0; ROWS]; VIEWS];
        for v in 0..VIEWS {
            for r in 0..ROWS {
                let reset = sigmoid(resets[v][r]);
                let update = sigmoid(updates[v][r]);
                let new = tanh(from_input[v][r] + reset * from_memory[v][r]);
                after[v][r] = (1.0 - update) * new + update * before[v][r];
            }
        }
        for (r, unit) in next.iter_mut().enumerate() {
            for v in 0..VIEWS {
                unit[v] = after[v][r];
            }
        }
    }
}

/// Adds the weights' products with a column of numbers for each view: the innermost loop.
#[inline(always)]
fn multiply<const WIDE: bool>(weights: &[[f32; ROWS]], x: &[Views], sums: &mut Panel) {
    #[cfg(target_arch = "x86_64")]
    if WIDE {
        // SAFETY: `WIDE` is asked for by `forward_wide` alone, where the processor has
        // AVX2 and FMA.
        unsafe { multiply_wide(weights, x, sums) };
        return;
    }
    for (w, x) in weights.iter().zip(x) {
        for (sums, &x) in sums.iter_mut().zip(x) {
            for (sum, w) in sums.iter_mut().zip(w) {
                *sum += w * x;
            }
        }
    }
}

/// The same eight at a time. Six views of sixteen rows fill the registers, so that a
/// number loaded is used as often as can be.
#[cfg(target_arch = "x86_64")]
#[inline]
#[target_feature(enable = "avx2,fma")]
fn multiply_wide(weights: &[[f32; ROWS]], x: &[Views], sums: &mut Panel) {
    use std::arch::x86_64::{__m256, _mm256_fmadd_ps, _mm256_set1_ps};
    type Halves = [__m256; 2];
    // SAFETY: both are sixteen numbers of 32 bits, and any bits are such numbers.
    let wide = |row: [f32; ROWS]| unsafe { std::mem::transmute::<[f32; ROWS], Halves>(row) };
    let narrow = |row: Halves| unsafe { std::mem::transmute::<Halves, [f32; ROWS]>(row) };
    let add = |sum: &mut Halves, w: &Halves, x: f32| {
        let x = _mm256_set1_ps(x);
        sum[0] = _mm256_fmadd_ps(w[0], x, sum[0]);
        sum[1] = _mm256_fmadd_ps(w[1], x, sum[1]);
    };
    for first in [0, VIEWS / 2] {
        // Named one by one: a loop over the views would keep the sums in memory when
        // little is optimized.
        let sums = &mut sums[first..first + 6];
        let (mut a, mut b, mut c) = (wide(sums[0]), wide(sums[1]), wide(sums[2]));
        let (mut d, mut e, mut f) = (wide(sums[3]), wide(sums[4]), wide(sums[5]));
        for (w, x) in weights.iter().zip(x) {
            let (w, x) = (wide(*w), &x[first..first + 6]);
            add(&mut a, &w, x[0]);
            add(&mut b, &w, x[1]);
            add(&mut c, &w, x[2]);
            add(&mut d, &w, x[3]);
            add(&mut e, &w, x[4]);
            add(&mut f, &w, x[5]);
        }
        for (sum, wide) in sums.iter_mut().zip([a, b, c, d, e, f]) {
            *sum = narrow(wide);
        }
    }
}

#[inline(always)]
fn sigmoid(x: f32) -> f32 {
    1.0 / (1.0 + exp(-x))
}

#[inline(always)]
fn tanh(x: f32) -> f32 {
    1.0 - 2.0 / (1.0 + exp(2.0 * x))
}

/// e^x without branches, so that it runs eight at a time. The polynomial is that of
/// `expf` in the Cephes library (Moshier 1989), written down from memory; checked
/// below. Beyond ±87 as at ±87.
#[inline(always)]
#[allow(clippy::excessive_precision)] // as published
fn exp(x: f32) -> f32 {
    // Adding it leaves the nearest whole number in the lowest bits.
    const WHOLE: f32 = 12_582_912.0;
    let x = x.clamp(-87.0, 87.0);
    let shifted = x * std::f32::consts::LOG2_E + WHOLE;
    let n = shifted - WHOLE;
    let r = x - n * 0.693_359_375 + n * 2.121_944_4e-4;
    let p = 1.987_569_15e-4;
    let p = p * r + 1.398_199_95e-3;
    let p = p * r + 8.333_451_9e-3;
    let p = p * r + 4.166_579_6e-2;
    let p = p * r + 1.666_666_55e-1;
    let p = p * r + 5.000_000_1e-1;
    let power = f32::from_bits((shifted.to_bits() << 23).wrapping_add(127 << 23));
    (p * r * r + r + 1.0) * power
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sigmoid_and_tanh_are_right_to_a_millionth() {
        for i in -400_000..=400_000 {
            let x = i as f32 * 1e-3;
            let d = f64::from(x);
            assert!(
                (f64::from(sigmoid(x)) - 1.0 / (1.0 + (-d).exp())).abs() < 1e-6,
                "{x}"
            );
            assert!((f64::from(tanh(x)) - d.tanh()).abs() < 1e-6, "{x}");
        }
        assert!(sigmoid(f32::MAX) == 1.0 && tanh(f32::MIN) == -1.0);
    }

    fn inputs(seed: u32) -> Inputs {
        let mut seed = seed;
        let mut random = || {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (seed >> 8) as f32 / (1 << 24) as f32
        };
        let mut blocks = [[0.0; 12]; BLOCKS];
        for (i, block) in blocks.iter_mut().enumerate() {
            // Some are empty.
            if random() < 0.7 || i == 0 {
                *block = std::array::from_fn(|_| random());
            }
        }
        Inputs {
            blocks,
            scalars: std::array::from_fn(|_| random()),
        }
    }

    /// The definition, view by view in double precision, on weights in the file's order.
    fn plain(values: &[f32], hidden: usize, steps: &[Inputs], view: usize) -> Vec<f64> {
        let mut rest = values;
        let mut take = |n: usize| -> Vec<f64> {
            let (first, others) = rest.split_at(n);
            rest = others;
            first.iter().map(|&w| f64::from(w)).collect()
        };
        let (we, be) = (take(hidden * INPUTS), take(hidden));
        let (wi, wh) = (take(3 * hidden * hidden), take(3 * hidden * hidden));
        let (bi, bh) = (take(3 * hidden), take(3 * hidden));
        let (wo, bo) = (take(HEADS * hidden), take(HEADS));
        let product = |w: &[f64], b: &[f64], x: &[f64]| -> Vec<f64> {
            w.chunks(x.len())
                .zip(b)
                .map(|(w, b)| b + w.iter().zip(x).map(|(w, x)| w * x).sum::<f64>())
                .collect()
        };
        let sigmoid = |x: f64| 1.0 / (1.0 + (-x).exp());
        let mut h = vec![0.0; hidden];
        for s in steps {
            let turned = |b: &[f32; 12]| (0..12).map(|j| b[(view + j) % 12]).collect::<Vec<_>>();
            let x: Vec<f64> = s
                .blocks
                .iter()
                .flat_map(turned)
                .chain(s.scalars)
                .map(f64::from)
                .collect();
            let e: Vec<f64> = product(&we, &be, &x).iter().map(|x| x.max(0.0)).collect();
            let (i, m) = (product(&wi, &bi, &e), product(&wh, &bh, &h));
            for u in 0..hidden {
                let r = sigmoid(i[u] + m[u]);
                let z = sigmoid(i[hidden + u] + m[hidden + u]);
                let n = (i[2 * hidden + u] + r * m[2 * hidden + u]).tanh();
                h[u] = (1.0 - z) * n + z * h[u];
            }
        }
        product(&wo, &bo, &h)
    }

    fn random_weights(hidden: usize, mut seed: u32) -> Vec<f32> {
        let n = super::super::weights::weights(hidden);
        let scale = 2.0 / (hidden as f32).sqrt();
        (0..n)
            .map(|_| {
                seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                ((seed >> 8) as f32 / (1 << 24) as f32 - 0.5) * scale
            })
            .collect()
    }

    /// Every width, whether it fills its registers or not, and an ensemble; on processors
    /// without wide registers too.
    #[test]
    fn the_pass_is_that_of_the_definition() {
        for (hidden, plainly) in [
            (8, false),
            (13, false),
            (24, true),
            (128, false),
            (128, true),
        ] {
            let weights = [random_weights(hidden, 1), random_weights(hidden, 2)];
            let nets = weights.iter().map(|w| Net::new(w, hidden)).collect();
            let mut network = Network::new(Arc::new(Model::of(nets)));
            network.wide &= !plainly;
            let steps: Vec<Inputs> = (0..30).map(inputs).collect();
            for s in &steps {
                network.step(s);
            }
            for view in 0..12 {
                let each = weights.each_ref().map(|w| plain(w, hidden, &steps, view));
                for (head, (a, b)) in each[0].iter().zip(&each[1]).enumerate() {
                    let want = (a + b) / 2.0;
                    let found = f64::from(network.heads[head][view]);
                    assert!(
                        (found - want).abs() < 1e-5,
                        "{hidden} {view} {head}: {found} {want}"
                    );
                }
            }
        }
    }

    /// To the last bit; on processors without wide registers too.
    #[test]
    fn turned_input_gives_turned_output() {
        let model = Arc::new(Model::of(vec![Net::new(&random_weights(40, 5), 40)]));
        for plain in [false, true] {
            let hear = |by: usize| {
                let mut network = Network::new(Arc::clone(&model));
                network.wide &= !plain;
                for seed in 0..50 {
                    let mut turned = inputs(seed);
                    for block in &mut turned.blocks {
                        block.rotate_right(by);
                    }
                    network.step(&turned);
                }
                let mut heads = network.heads;
                for head in &mut heads {
                    head.rotate_left(by);
                }
                heads
            };
            let here = hear(0);
            for by in 1..12 {
                assert_eq!(here, hear(by), "{by}");
            }
        }
    }
}
