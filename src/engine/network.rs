//! The forward pass of the network, one step at a time, for all twelve possible
//! centers at once: `tests/training/network.py` is the same in training.
//!
//! An entrance with rectified linear units, a memory of gated recurrent units (Cho et
//! al. 2014, arXiv:1406.1078; gates as PyTorch has them: reset, update, new) and
//! linear heads. Every view has the same weights and goes through the same
//! operations in the same order, so turned input gives turned output to the last bit.
//!
//! The inputs of a view and what comes through the entrance are mostly zero (two thirds of
//! them); zeros are skipped. The memory is never zero.

use super::weights::{ModelError, Shape, Weights};
use std::sync::Arc;

/// The possible centers, each a view of the same music.
const VIEWS: usize = 12;
/// Rows of a matrix that are multiplied together for six views: two vector registers.
const ROWS: usize = 16;
/// Rows of a matrix that are multiplied together for one view: eight vector registers.
const BAND: usize = 4 * ROWS;

/// One number for each view.
pub type Views = [f32; VIEWS];
/// A group of rows for each view.
type Panel = [[f32; ROWS]; VIEWS];
/// The hidden state of each net, in groups of rows.
pub type Memories = Vec<Vec<Panel>>;

/// A column of a group of rows, where lines of the cache begin: so that no register is
/// loaded from two of them.
#[derive(Clone, Copy, Debug)]
#[repr(C, align(64))]
struct Column<const R: usize>([f32; R]);

/// A matrix with a bias, in groups of `R` rows filled up with zeros; in each group
/// column after column.
#[derive(Debug)]
struct Matrix<const R: usize> {
    columns: usize,
    weights: Vec<Column<R>>,
    bias: Vec<[f32; R]>,
}

impl<const R: usize> Matrix<R> {
    /// From rows of `columns` weights, filled up with zeros to `padded`.
    fn new(rows: &[f32], columns: usize, padded: usize, bias: &[f32]) -> Matrix<R> {
        let mut m = Matrix {
            columns: padded,
            weights: Vec::new(),
            bias: Vec::new(),
        };
        for (rows, bias) in rows.chunks(columns * R).zip(bias.chunks(R)) {
            let at = |row: usize, column: usize| match rows.get(row * columns + column) {
                Some(&w) if column < columns => w,
                _ => 0.0,
            };
            let group = |c| Column(std::array::from_fn(|r| at(r, c)));
            m.weights.extend((0..padded).map(group));
            m.bias
                .push(std::array::from_fn(|r| bias.get(r).copied().unwrap_or(0.0)));
        }
        m
    }

    /// Groups of rows: the weights of each, a column an item, and its bias.
    fn groups(&self) -> impl Iterator<Item = (&[Column<R>], &[f32; R])> {
        self.weights.chunks_exact(self.columns).zip(&self.bias)
    }
}

/// One network's weights.
#[derive(Debug)]
pub struct Net {
    enter: Matrix<BAND>,
    /// Reset, update and new gates: what they take from the input …
    from_input: [Matrix<BAND>; 3],
    /// … and from the memory. The bias of the first two stands with the input's.
    from_memory: [Matrix<ROWS>; 3],
    heads: Matrix<ROWS>,
    /// Hidden units, filled up to bands.
    padded: usize,
    /// The same, filled up to groups of rows.
    remembered: usize,
}

impl Net {
    /// From [`Shape::weights`] numbers in the order of the file.
    fn new(values: &[f32], hidden: usize, shape: &Shape) -> Net {
        let (inputs, heads_count) = (shape.inputs(), shape.heads);
        let padded = hidden.next_multiple_of(BAND);
        let remembered = hidden.next_multiple_of(ROWS);
        let mut rest = values;
        let mut take = |n: usize| {
            let (first, others) = rest.split_at(n.min(rest.len()));
            rest = others;
            first
        };
        let square = 3 * hidden * hidden;
        let (enter, enter_bias) = (take(hidden * inputs), take(hidden));
        let (input, memory) = (take(square), take(square));
        let (input_bias, memory_bias) = (take(3 * hidden), take(3 * hidden));
        let (heads, heads_bias) = (take(heads_count * hidden), take(heads_count));
        // The gates one after another.
        fn part(all: &[f32], gate: usize) -> &[f32] {
            let each = all.len() / 3;
            &all[gate * each..][..each]
        }
        let gates = [0, 1, 2];
        let input_bias = gates.map(|g| {
            let mut bias = part(input_bias, g).to_vec();
            if g < 2 {
                let more = part(memory_bias, g);
                bias.iter_mut().zip(more).for_each(|(b, m)| *b += m);
            }
            bias
        });
        Net {
            enter: Matrix::new(enter, inputs, inputs, enter_bias),
            from_input: gates.map(|g| Matrix::new(part(input, g), hidden, padded, &input_bias[g])),
            from_memory: gates
                .map(|g| Matrix::new(part(memory, g), hidden, remembered, part(memory_bias, g))),
            heads: Matrix::new(heads, hidden, remembered, heads_bias),
            padded,
            remembered,
        }
    }
}

/// One net or several whose outputs are averaged, and their temperatures.
#[derive(Debug)]
pub(super) struct Nets {
    shape: &'static Shape,
    nets: Vec<Net>,
    /// Divides the scores before they become probabilities.
    pub temperature: f32,
    /// The same for what was learned for hindsight.
    pub temperature_hindsight: f32,
}

impl Nets {
    /// Reads weights as the training wrote them.
    pub fn parse(bytes: &[u8], shape: &'static Shape) -> Result<Nets, ModelError> {
        let read = Weights::parse(bytes, shape)?;
        let nets = read.nets.iter();
        Ok(Nets {
            shape,
            nets: nets.map(|n| Net::new(n, read.hidden, shape)).collect(),
            temperature: read.temperature,
            temperature_hindsight: read.temperature_hindsight,
        })
    }
}

/// A number and its place in a column.
#[derive(Clone, Copy, Debug, Default)]
struct Item {
    place: u32,
    x: f32,
}

/// Of a column of numbers for each view those that are not zero, in order.
#[derive(Clone, Debug)]
struct Sparse {
    /// For each view room for a whole column and one more, which is written over.
    items: [Vec<Item>; VIEWS],
    lens: [usize; VIEWS],
}

impl Sparse {
    fn new(columns: usize) -> Sparse {
        Sparse {
            items: std::array::from_fn(|_| vec![Item::default(); columns + 1]),
            lens: [0; VIEWS],
        }
    }

    fn clear(&mut self) {
        self.lens = [0; VIEWS];
    }

    /// Goes on with numbers at `first` and the places after it; those that are zero are
    /// written over. Without a branch, as which are zero cannot be predicted.
    #[inline(always)]
    fn extend(&mut self, view: usize, first: usize, numbers: &[f32]) {
        let items = &mut self.items[view][..];
        let mut len = self.lens[view];
        for (place, &x) in (first as u32..).zip(numbers) {
            items[len] = Item { place, x };
            len += usize::from(x != 0.0);
        }
        self.lens[view] = len;
    }

    fn of(&self, view: usize) -> &[Item] {
        &self.items[view][..self.lens[view]]
    }
}

/// The networks at one moment: what they remember, and room to work in.
#[derive(Clone, Debug)]
pub struct Network {
    model: Arc<Nets>,
    memories: Memories,
    next: Vec<Panel>,
    /// What the gates take.
    gates: [Vec<Panel>; 3],
    given: Sparse,
    entered: Sparse,
    heads: Vec<Views>,
    /// Whether the processor has AVX2 and FMA; other kinds of processor are not asked.
    #[cfg_attr(not(target_arch = "x86_64"), allow(dead_code))]
    wide: bool,
}

impl Network {
    pub(super) fn new(model: Arc<Nets>) -> Network {
        let groups = |units: usize| vec![[[0.0; ROWS]; VIEWS]; units / ROWS];
        let memories: Memories = model.nets.iter().map(|n| groups(n.remembered)).collect();
        let next = memories.first().cloned().unwrap_or_default();
        let padded = model.nets.first().map_or(0, |n| n.padded);
        #[cfg(target_arch = "x86_64")]
        let wide = is_x86_feature_detected!("avx2") && is_x86_feature_detected!("fma");
        #[cfg(not(target_arch = "x86_64"))]
        let wide = false;
        Network {
            memories,
            gates: std::array::from_fn(|_| groups(padded)),
            given: Sparse::new(model.shape.inputs()),
            entered: Sparse::new(padded),
            next,
            heads: vec![[0.0; VIEWS]; model.shape.heads],
            wide,
            model,
        }
    }

    /// Forgets everything.
    pub fn reset(&mut self) {
        for memory in &mut self.memories {
            memory.fill([[0.0; ROWS]; VIEWS]);
        }
    }

    pub fn memories(&self) -> &Memories {
        &self.memories
    }

    /// Goes back to memories of its own.
    pub fn restore(&mut self, memories: &Memories) {
        self.memories.clone_from(memories);
    }

    /// One step: the outputs of each view, averaged over the nets. The inputs have as many
    /// blocks and scalars as the shape.
    pub fn step(&mut self, blocks: &[[f32; VIEWS]], scalars: &[f32]) -> &[Views] {
        #[cfg(target_arch = "x86_64")]
        if self.wide {
            // SAFETY: `wide` was set because the processor has these features; the
            // function is safe but for that.
            unsafe { self.forward_wide(blocks, scalars) };
            return &self.heads;
        }
        self.forward::<false>(blocks, scalars);
        &self.heads
    }

    #[cfg(target_arch = "x86_64")]
    #[target_feature(enable = "avx2,fma")]
    fn forward_wide(&mut self, blocks: &[[f32; VIEWS]], scalars: &[f32]) {
        self.forward::<true>(blocks, scalars);
    }

    #[inline(always)]
    fn forward<const WIDE: bool>(&mut self, blocks: &[[f32; VIEWS]], scalars: &[f32]) {
        // View v has pitch class v + j where another has j.
        self.given.clear();
        for (block, first) in blocks.iter().zip((0..).step_by(12)) {
            let twice = [*block; 2];
            for view in 0..VIEWS {
                let turned = &twice.as_flattened()[view..view + 12];
                self.given.extend(view, first, turned);
            }
        }
        for view in 0..VIEWS {
            self.given.extend(view, VIEWS * blocks.len(), scalars);
        }
        self.heads.fill([0.0; VIEWS]);
        for (net, memory) in self.model.nets.iter().zip(&mut self.memories) {
            enter::<WIDE>(&net.enter, &self.given, &mut self.entered);
            for (matrix, gate) in net.from_input.iter().zip(&mut self.gates) {
                take::<WIDE>(matrix, &self.entered, gate);
            }
            remember::<WIDE>(&net.from_memory, &self.gates, memory, &mut self.next);
            std::mem::swap(memory, &mut self.next);
            let heads = self.heads.chunks_mut(ROWS);
            for ((weights, bias), heads) in net.heads.groups().zip(heads) {
                let mut sums = [*bias; VIEWS];
                multiply::<WIDE>(weights, memory, &mut sums);
                for (r, head) in heads.iter_mut().enumerate() {
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
fn enter<const WIDE: bool>(matrix: &Matrix<BAND>, given: &Sparse, entered: &mut Sparse) {
    entered.clear();
    for (g, (weights, bias)) in matrix.groups().enumerate() {
        for view in 0..VIEWS {
            let sums = gather::<WIDE>(weights, bias, given.of(view));
            entered.extend(view, g * BAND, &sums.map(|sum| sum.max(0.0)));
        }
    }
}

/// What a gate takes from the input.
#[inline(always)]
fn take<const WIDE: bool>(matrix: &Matrix<BAND>, entered: &Sparse, gate: &mut [Panel]) {
    let (pairs, _) = gate.as_chunks_mut::<{ BAND / ROWS }>();
    for ((weights, bias), panels) in matrix.groups().zip(pairs) {
        for view in 0..VIEWS {
            let sums = gather::<WIDE>(weights, bias, entered.of(view));
            for (panel, sums) in panels.iter_mut().zip(sums.as_chunks().0) {
                panel[view] = *sums;
            }
        }
    }
}

#[inline(always)]
fn remember<const WIDE: bool>(
    matrices: &[Matrix<ROWS>; 3],
    [resets, updates, news]: &[Vec<Panel>; 3],
    memory: &[Panel],
    next: &mut [Panel],
) {
    let [reset, update, new] = matrices;
    let weights = reset.groups().zip(update.groups()).zip(new.groups());
    let inputs = resets.iter().zip(updates).zip(news);
    for ((((reset, update), new), ((resets, updates), news)), (before, after)) in
        weights.zip(inputs).zip(memory.iter().zip(next))
    {
        // The reset and the update gate take input and memory alike; the new one
        // takes of the memory what the reset gate leaves.
        let (mut resets, mut updates, mut kept) = (*resets, *updates, [*new.1; VIEWS]);
        multiply::<WIDE>(reset.0, memory, &mut resets);
        multiply::<WIDE>(update.0, memory, &mut updates);
        multiply::<WIDE>(new.0, memory, &mut kept);
        for v in 0..VIEWS {
            for r in 0..ROWS {
                let reset = sigmoid::<WIDE>(resets[v][r]);
                let update = sigmoid::<WIDE>(updates[v][r]);
                let new = tanh::<WIDE>(news[v][r] + reset * kept[v][r]);
                after[v][r] = (1.0 - update) * new + update * before[v][r];
            }
        }
    }
}

/// The bias and the sum of the weights' products with a view's numbers.
#[inline(always)]
fn gather<const WIDE: bool>(
    weights: &[Column<BAND>],
    bias: &[f32; BAND],
    items: &[Item],
) -> [f32; BAND] {
    #[cfg(target_arch = "x86_64")]
    if WIDE {
        // SAFETY: `WIDE` is asked for by `forward_wide` alone, where the processor has
        // AVX2 and FMA.
        return unsafe { gather_wide(weights, bias, items) };
    }
    let mut sums = *bias;
    for item in items {
        for (sum, w) in sums.iter_mut().zip(&weights[item.place as usize].0) {
            *sum += w * item.x;
        }
    }
    sums
}

/// The same eight at a time. Eight sums are enough that no addition waits for the one
/// before it; named one by one as below.
#[cfg(target_arch = "x86_64")]
#[inline]
#[target_feature(enable = "avx2,fma")]
fn gather_wide(weights: &[Column<BAND>], bias: &[f32; BAND], items: &[Item]) -> [f32; BAND] {
    use std::arch::x86_64::{__m256, _mm256_fmadd_ps, _mm256_set1_ps};
    type Eighths = [__m256; 8];
    // SAFETY: both are sixty-four numbers of 32 bits, and any bits are such numbers.
    let wide = |row: [f32; BAND]| unsafe { std::mem::transmute::<[f32; BAND], Eighths>(row) };
    let narrow = |row: Eighths| unsafe { std::mem::transmute::<Eighths, [f32; BAND]>(row) };
    let [mut a, mut b, mut c, mut d, mut e, mut f, mut g, mut h] = wide(*bias);
    for item in items {
        let (w, x) = (wide(weights[item.place as usize].0), _mm256_set1_ps(item.x));
        a = _mm256_fmadd_ps(w[0], x, a);
        b = _mm256_fmadd_ps(w[1], x, b);
        c = _mm256_fmadd_ps(w[2], x, c);
        d = _mm256_fmadd_ps(w[3], x, d);
        e = _mm256_fmadd_ps(w[4], x, e);
        f = _mm256_fmadd_ps(w[5], x, f);
        g = _mm256_fmadd_ps(w[6], x, g);
        h = _mm256_fmadd_ps(w[7], x, h);
    }
    narrow([a, b, c, d, e, f, g, h])
}

/// Adds the weights' products with what is remembered.
#[inline(always)]
fn multiply<const WIDE: bool>(weights: &[Column<ROWS>], memory: &[Panel], sums: &mut Panel) {
    #[cfg(target_arch = "x86_64")]
    if WIDE {
        // SAFETY: `WIDE` is asked for by `forward_wide` alone, where the processor has
        // AVX2 and FMA.
        unsafe { multiply_wide(weights, memory, sums) };
        return;
    }
    for (weights, panel) in weights.as_chunks::<ROWS>().0.iter().zip(memory) {
        for (sums, units) in sums.iter_mut().zip(panel) {
            for (w, x) in weights.iter().zip(units) {
                for (sum, w) in sums.iter_mut().zip(&w.0) {
                    *sum += w * x;
                }
            }
        }
    }
}

/// The same eight at a time. Six views of sixteen rows fill the registers, so that a
/// number loaded is used as often as can be.
#[cfg(target_arch = "x86_64")]
#[inline]
#[target_feature(enable = "avx2,fma")]
fn multiply_wide(weights: &[Column<ROWS>], memory: &[Panel], sums: &mut Panel) {
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
        for (weights, panel) in weights.as_chunks::<ROWS>().0.iter().zip(memory) {
            let x = &panel[first..first + 6];
            for r in 0..ROWS {
                let w = wide(weights[r].0);
                add(&mut a, &w, x[0][r]);
                add(&mut b, &w, x[1][r]);
                add(&mut c, &w, x[2][r]);
                add(&mut d, &w, x[3][r]);
                add(&mut e, &w, x[4][r]);
                add(&mut f, &w, x[5][r]);
            }
        }
        for (sum, wide) in sums.iter_mut().zip([a, b, c, d, e, f]) {
            *sum = narrow(wide);
        }
    }
}

#[inline(always)]
fn sigmoid<const WIDE: bool>(x: f32) -> f32 {
    1.0 / (1.0 + exp::<WIDE>(-x))
}

#[inline(always)]
fn tanh<const WIDE: bool>(x: f32) -> f32 {
    1.0 - 2.0 / (1.0 + exp::<WIDE>(2.0 * x))
}

/// `a * b + c`: in one where the processor has it, as elsewhere that would be slow.
#[inline(always)]
fn add<const WIDE: bool>(a: f32, b: f32, c: f32) -> f32 {
    if WIDE { a.mul_add(b, c) } else { a * b + c }
}

/// e^x without branches, so that it runs eight at a time. The polynomial is that of
/// `expf` in the Cephes library (Moshier 1989), written down from memory; checked
/// below. Beyond ±87 as at ±87.
#[inline(always)]
#[allow(clippy::excessive_precision)] // as published
pub(super) fn exp<const WIDE: bool>(x: f32) -> f32 {
    // Adding it leaves the nearest whole number in the lowest bits.
    const WHOLE: f32 = 12_582_912.0;
    let x = x.clamp(-87.0, 87.0);
    let shifted = add::<WIDE>(x, std::f32::consts::LOG2_E, WHOLE);
    let n = shifted - WHOLE;
    let r = add::<WIDE>(n, -0.693_359_375, x);
    let r = add::<WIDE>(n, 2.121_944_4e-4, r);
    let p = add::<WIDE>(1.987_569_15e-4, r, 1.398_199_95e-3);
    let p = add::<WIDE>(p, r, 8.333_451_9e-3);
    let p = add::<WIDE>(p, r, 4.166_579_6e-2);
    let p = add::<WIDE>(p, r, 1.666_666_55e-1);
    let p = add::<WIDE>(p, r, 5.000_000_1e-1);
    let power = f32::from_bits((shifted.to_bits() << 23).wrapping_add(127 << 23));
    add::<WIDE>(p, r * r, r + 1.0) * power
}

#[cfg(test)]
mod tests {
    use super::*;

    const BLOCKS: usize = 14;
    const SCALARS: usize = 7;
    const HEADS: usize = 15;
    const SHAPE: &Shape = &Shape {
        blocks: BLOCKS,
        scalars: SCALARS,
        heads: HEADS,
        fingerprint: 0,
    };

    struct Inputs {
        blocks: [Views; BLOCKS],
        scalars: [f32; SCALARS],
    }

    fn network(nets: Vec<Net>) -> Network {
        Network::new(Arc::new(Nets {
            shape: SHAPE,
            nets,
            temperature: 1.0,
            temperature_hindsight: 1.0,
        }))
    }

    #[test]
    fn sigmoid_and_tanh_are_right_to_a_millionth() {
        right_to_a_millionth(sigmoid::<true>, tanh::<true>);
        right_to_a_millionth(sigmoid::<false>, tanh::<false>);
    }

    fn right_to_a_millionth(sigmoid: fn(f32) -> f32, tanh: fn(f32) -> f32) {
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
        let (we, be) = (take(hidden * SHAPE.inputs()), take(hidden));
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
        let n = SHAPE.weights(hidden);
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
            let nets = weights.iter().map(|w| Net::new(w, hidden, SHAPE)).collect();
            let mut network = network(nets);
            network.wide &= !plainly;
            let steps: Vec<Inputs> = (0..30).map(inputs).collect();
            for s in &steps {
                network.step(&s.blocks, &s.scalars);
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
        for plain in [false, true] {
            let hear = |by: usize| {
                let mut network = network(vec![Net::new(&random_weights(40, 5), 40, SHAPE)]);
                network.wide &= !plain;
                for seed in 0..50 {
                    let mut turned = inputs(seed);
                    for block in &mut turned.blocks {
                        block.rotate_right(by);
                    }
                    network.step(&turned.blocks, &turned.scalars);
                }
                let mut heads = network.heads.clone();
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
