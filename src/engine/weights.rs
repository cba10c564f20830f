//! Files of learned weights: parsed and checked.
//!
//! The format, little-endian, as `tests/training/network.py` writes it:
//!
//! | bytes | what |
//! |---|---|
//! | 20 | `PEREGRINUS WEIGHTS`, two zeros |
//! | 4 × u32 | version; number of nets; inputs a view; hidden units |
//! | u64 | [`fingerprint`] of the features |
//! | 2 × f32 | temperatures: live, and in hindsight |
//! | f16 … | for each net: entrance (matrix, bias); memory (matrix of the input, matrix of the memory, their biases; gates reset, update, new); heads (matrix, bias). A matrix has a row for each output |
//! | u32 | CRC-32 (IEEE 802.3) of all before it |

use half::f16;

const MAGIC: &[u8; 20] = b"PEREGRINUS WEIGHTS\0\0";
const VERSION: u32 = 1;
const HEAD: usize = 52;
/// The most nets that are asked together.
const MAX_NETS: usize = 4;
const MIN_HIDDEN: usize = 8;
const MAX_HIDDEN: usize = 512;

/// What a network takes in and gives out, as its weights must have it: the weights of one
/// network do not fit another.
#[derive(Debug)]
pub(super) struct Shape {
    /// Blocks of twelve inputs, one for each pitch class.
    pub blocks: usize,
    /// Inputs that are the same for every pitch class.
    pub scalars: usize,
    /// Outputs of a view.
    pub heads: usize,
    /// [`fingerprint`] of the text that describes the inputs.
    pub fingerprint: u64,
}

impl Shape {
    /// Inputs of one view.
    pub const fn inputs(&self) -> usize {
        12 * self.blocks + self.scalars
    }

    /// Weights of one net.
    pub const fn weights(&self, hidden: usize) -> usize {
        hidden * self.inputs()
            + hidden
            + 6 * hidden * hidden
            + 6 * hidden
            + self.heads * hidden
            + self.heads
    }

    /// Maximum number of bytes of weights of this shape.
    pub const fn max_bytes(&self) -> usize {
        self.length(MAX_NETS, MAX_HIDDEN)
    }

    const fn length(&self, nets: usize, hidden: usize) -> usize {
        HEAD + 2 * nets * self.weights(hidden) + 4
    }
}

/// FNV-1a, 64 bits (Fowler, Noll, Vo; draft-eastlake-fnv), of the text that describes a
/// network's inputs: weights that were learned on other inputs are refused by it.
pub(super) const fn fingerprint(text: &str) -> u64 {
    let text = text.as_bytes();
    let mut hash: u64 = 0xcbf2_9ce4_8422_2325;
    let mut i = 0;
    while i < text.len() {
        hash = (hash ^ text[i] as u64).wrapping_mul(0x0000_0100_0000_01b3);
        i += 1;
    }
    hash
}

/// What a file of weights holds.
#[derive(Debug)]
pub(super) struct Weights {
    pub hidden: usize,
    /// Of each net [`Shape::weights`] finite numbers, in the order of the file.
    pub nets: Vec<Vec<f32>>,
    /// Divides the scores before they become probabilities.
    pub temperature: f32,
    /// The same for what was learned for hindsight.
    pub temperature_hindsight: f32,
}

/// Why bytes are not valid weights.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ModelError {
    #[error("this is no file of weights: it does not begin with PEREGRINUS WEIGHTS")]
    NoWeights,
    #[error(
        "these weights are of version {0}, and this program reads version {VERSION}: take the ones made for it"
    )]
    Version(u32),
    #[error(
        "these weights were learned on other features than this program's: take the ones made for it"
    )]
    OtherFeatures,
    #[error("the weights promise {what} {found}; it must be {must}")]
    Head {
        what: &'static str,
        found: String,
        must: &'static str,
    },
    #[error("the weights are {found} bytes long and should be {expected}: fetch the file again")]
    Length { found: usize, expected: usize },
    #[error("the weights are damaged, their checksum does not hold: fetch the file again")]
    Damaged,
    #[error("the weights of net {net} hold a value that is no finite number")]
    NotFinite { net: usize },
}

impl Weights {
    /// Reads weights of this shape as the training wrote them.
    pub fn parse(bytes: &[u8], shape: &Shape) -> Result<Weights, ModelError> {
        if !bytes.starts_with(MAGIC) {
            return Err(ModelError::NoWeights);
        }
        let short = ModelError::Length {
            found: bytes.len(),
            expected: HEAD,
        };
        let (head, body) = bytes.split_at_checked(HEAD).ok_or(short)?;
        let mut head = Reader(&head[MAGIC.len()..]);
        let version = head.u32();
        if version != VERSION {
            return Err(ModelError::Version(version));
        }
        let (nets, inputs, hidden) = (head.u32(), head.u32(), head.u32());
        if head.u64() != shape.fingerprint || inputs as usize != shape.inputs() {
            return Err(ModelError::OtherFeatures);
        }
        let wrong = |what, found: String, must| ModelError::Head { what, found, must };
        let nets = match nets as usize {
            n @ 1..=MAX_NETS => n,
            n => return Err(wrong("a number of nets of", n.to_string(), "1 to 4")),
        };
        let hidden = match hidden as usize {
            n @ MIN_HIDDEN..=MAX_HIDDEN => n,
            n => {
                return Err(wrong(
                    "a number of hidden units of",
                    n.to_string(),
                    "8 to 512",
                ));
            }
        };
        let mut temperature = || {
            let t = head.f32();
            match t {
                0.01..=100.0 => Ok(t),
                _ => Err(wrong("a temperature of", t.to_string(), "0.01 to 100")),
            }
        };
        let (temperature, temperature_hindsight) = (temperature()?, temperature()?);
        if bytes.len() != shape.length(nets, hidden) {
            return Err(ModelError::Length {
                found: bytes.len(),
                expected: shape.length(nets, hidden),
            });
        }
        let (body, checksum) = body.split_at(body.len() - 4);
        if crc32fast::hash(&bytes[..bytes.len() - 4]) != Reader(checksum).u32() {
            return Err(ModelError::Damaged);
        }
        let nets = body
            .chunks_exact(body.len() / nets)
            .enumerate()
            .map(|(i, net)| {
                let numbers = net.as_chunks().0.iter();
                let values: Vec<f32> = numbers
                    .map(|&bytes| f16::from_le_bytes(bytes).to_f32())
                    .collect();
                if values.iter().all(|v| v.is_finite()) {
                    Ok(values)
                } else {
                    Err(ModelError::NotFinite { net: i + 1 })
                }
            })
            .collect::<Result<_, _>>()?;
        Ok(Weights {
            hidden,
            nets,
            temperature,
            temperature_hindsight,
        })
    }
}

/// Reads numbers one after another; beyond the end it reads zeros.
struct Reader<'a>(&'a [u8]);

impl Reader<'_> {
    fn take<const N: usize>(&mut self) -> [u8; N] {
        match self.0.split_first_chunk() {
            Some((first, rest)) => {
                self.0 = rest;
                *first
            }
            None => [0; N],
        }
    }
    fn u32(&mut self) -> u32 {
        u32::from_le_bytes(self.take())
    }
    fn u64(&mut self) -> u64 {
        u64::from_le_bytes(self.take())
    }
    fn f32(&mut self) -> f32 {
        f32::from_le_bytes(self.take())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SHAPE: &Shape = &Shape {
        blocks: 3,
        scalars: 2,
        heads: 4,
        fingerprint: fingerprint("three blocks and two scalars"),
    };

    /// Valid weights: `hidden` units, all values `value`.
    fn bytes(nets: u32, hidden: u32, value: u16) -> Vec<u8> {
        let mut all = MAGIC.to_vec();
        for n in [VERSION, nets, SHAPE.inputs() as u32, hidden] {
            all.extend(n.to_le_bytes());
        }
        all.extend(SHAPE.fingerprint.to_le_bytes());
        all.extend(1.0f32.to_le_bytes());
        all.extend(2.0f32.to_le_bytes());
        for _ in 0..nets as usize * SHAPE.weights(hidden as usize) {
            all.extend(value.to_le_bytes());
        }
        sealed(all)
    }

    fn sealed(mut all: Vec<u8>) -> Vec<u8> {
        all.extend(crc32fast::hash(&all).to_le_bytes());
        all
    }

    /// With other bytes from `at` on, and the checksum that belongs to them.
    fn with(at: usize, new: &[u8]) -> Vec<u8> {
        let mut all = bytes(1, 8, 0);
        all[at..at + new.len()].copy_from_slice(new);
        all.truncate(all.len() - 4);
        sealed(all)
    }

    fn error(bytes: &[u8]) -> ModelError {
        Weights::parse(bytes, SHAPE).expect_err("an error")
    }

    #[test]
    fn fnv_1a_as_published() {
        // The hash of nothing is the offset basis; that of "a" stands in the draft's vectors.
        assert_eq!(fingerprint(""), 0xcbf2_9ce4_8422_2325);
        assert_eq!(fingerprint("a"), 0xaf63_dc4c_8601_ec8c);
    }

    #[test]
    fn well_made_weights_are_read() {
        for (nets, hidden) in [(1, 8), (4, 12), (2, 33)] {
            let read = Weights::parse(&bytes(nets, hidden, 0x3c00), SHAPE).expect("weights");
            assert_eq!(
                (read.nets.len(), read.hidden),
                (nets as usize, hidden as usize)
            );
            let count = SHAPE.weights(read.hidden);
            assert!(read.nets.iter().all(|net| net.len() == count));
            assert!(read.nets.iter().flatten().all(|&value| value == 1.0));
            assert_eq!((read.temperature, read.temperature_hindsight), (1.0, 2.0));
        }
    }

    #[test]
    fn what_is_wrong_is_said() {
        use ModelError::*;
        assert_eq!(error(b""), NoWeights);
        assert_eq!(error(b"MThd\0\0\0\x06"), NoWeights);
        assert_eq!(error(&with(20, &2u32.to_le_bytes())), Version(2));
        assert_eq!(error(&with(36, &[1; 8])), OtherFeatures);
        assert_eq!(error(&with(28, &9u32.to_le_bytes())), OtherFeatures);
        for nets in [0u32, 5, u32::MAX] {
            let said = error(&with(24, &nets.to_le_bytes())).to_string();
            assert!(said.contains(&format!("a number of nets of {nets}; it must be 1 to 4")));
        }
        for hidden in [0u32, 7, 513, u32::MAX] {
            let said = error(&with(32, &hidden.to_le_bytes())).to_string();
            assert!(said.contains(&format!("hidden units of {hidden}; it must be 8 to 512")));
        }
        for at in [44, 48] {
            for t in [0.0f32, -1.0, 1e9, f32::NAN, f32::INFINITY] {
                let said = error(&with(at, &t.to_le_bytes())).to_string();
                assert!(said.contains(&format!("a temperature of {t}; it must be 0.01 to 100")));
            }
        }
        let well = bytes(1, 8, 0);
        let expected = well.len();
        for found in [21, HEAD, HEAD + 3, expected - 1] {
            let said = error(&well[..found]);
            let expected = if found < HEAD { HEAD } else { expected };
            assert_eq!(said, Length { found, expected });
        }
        let mut long = well.clone();
        long.push(0);
        assert!(matches!(error(&long), Length { .. }));
        for at in [HEAD, expected - 5, expected - 1] {
            let mut damaged = well.clone();
            damaged[at] ^= 4;
            assert_eq!(error(&damaged), Damaged);
        }
        // Infinite, and no number.
        for bits in [0x7c00u16, 0xfc00, 0x7e00] {
            assert_eq!(
                error(&with(HEAD + 100, &bits.to_le_bytes())),
                NotFinite { net: 1 }
            );
        }
    }

    /// IEEE 754-2008, binary16, against its definition: every finite value, in double
    /// precision.
    #[test]
    fn half_precision() {
        let half = |bits| f16::from_bits(bits).to_f32();
        for bits in 0..0x7c00u16 {
            let (e, f) = (bits >> 10, f64::from(bits & 1023));
            let want = match e {
                0 => f / 1024.0 * 2f64.powi(-14),
                _ => (1.0 + f / 1024.0) * 2f64.powi(i32::from(e) - 15),
            };
            assert_eq!(f64::from(half(bits)), want);
            assert_eq!(f64::from(half(bits | 0x8000)), -want);
        }
        assert!(half(0x7c01).is_nan() && half(0x7c00) == f32::INFINITY);
    }
}
