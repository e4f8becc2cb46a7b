//! An acoustic network of our own form: its bytes → what it computes, and back with
//! its last two layers changed. No state beyond what was read.
//!
//! The form is Kaldi's nnet3 as `model/pipeline/export.py` writes it: affine layers,
//! rectifiers and sums over neighbouring frames. Anything else is refused by name.

mod read;

use ndarray::linalg::general_mat_mul;
use ndarray::{Array1, Array2, ArrayView1};

/// The two layers that are fitted to a person; what comes before them stays.
pub const FITTED: [&str; 2] = ["head", "out"];
/// What the first of them listens to comes from here on.
const RECTIFIED_HEAD: &str = "head.relu";

/// One affine layer: `weights` is [outputs, inputs].
#[derive(Clone, Debug, PartialEq)]
pub struct Affine {
    /// One row an output.
    pub weights: Array2<f32>,
    /// One number an output.
    pub bias: Array1<f32>,
}

impl Affine {
    /// The layer over rows of inputs.
    #[must_use]
    pub fn of(&self, rows: &Array2<f32>) -> Array2<f32> {
        let mut out = rows_of(self.bias.len(), rows.nrows(), |_, out| {
            put(self.bias.view(), out);
        });
        general_mat_mul(1.0, rows, &self.weights.t(), 1.0, &mut out);
        out
    }
}

enum Component {
    Affine(Affine),
    Rectifier,
    Passing,
}

/// Where a node takes its input from.
enum Source {
    Node(usize),
    Offset(Box<Source>, i64),
    Append(Vec<Source>),
    Sum(Vec<Source>),
    Scale(f32, Box<Source>),
}

struct Node {
    name: String,
    component: usize,
    source: Source,
}

/// A network that was read.
pub struct Network {
    bytes: Vec<u8>,
    /// The first is the input; a node takes only from nodes before it.
    nodes: Vec<Node>,
    components: Vec<(String, Component)>,
    /// Where each fitted layer's matrix begins and its bias ends.
    places: [(usize, usize); 2],
    /// Of each phone number from 1: the outputs with which it is entered and stayed in.
    outputs: Vec<(usize, usize)>,
}

/// Why bytes are no network of this form.
#[derive(Debug, PartialEq, Eq, thiserror::Error)]
#[error("am/final.mdl is not a network that can be fitted to a person: {0}")]
pub struct NetworkError(String);

fn fault(what: impl Into<String>) -> NetworkError {
    NetworkError(what.into())
}

impl Network {
    /// Of each phone number, from 1: the outputs with which it is entered and stayed in.
    #[must_use]
    pub fn outputs(&self) -> &[(usize, usize)] {
        &self.outputs
    }

    /// One of the [`FITTED`] layers as it is.
    ///
    /// # Errors
    /// [`NetworkError`] where there is none of that name.
    pub fn layer(&self, name: &str) -> Result<&Affine, NetworkError> {
        self.components
            .iter()
            .find_map(|(known, component)| match component {
                Component::Affine(affine) if known == name => Some(affine),
                _ => None,
            })
            .ok_or_else(|| fault(format!("it has no layer {name}")))
    }

    /// What the first fitted layer listens to: a row each 30 ms, for cepstra each 10 ms.
    ///
    /// # Errors
    /// [`NetworkError`] where the cepstra or the layers do not fit together.
    pub fn before_fitted(&self, cepstra: &Array2<f32>) -> Result<Array2<f32>, NetworkError> {
        let head = self
            .nodes
            .iter()
            .position(|node| node.name == FITTED[0])
            .ok_or_else(|| fault("it has no node head"))?;
        if cepstra.nrows() == 0 {
            return Err(fault("there is no sound"));
        }
        let times: Vec<i64> = (0..i64::try_from(cepstra.nrows()).unwrap_or(i64::MAX))
            .step_by(3)
            .collect();
        // Which moments of each node are needed, from the last node back.
        let mut needed = vec![Vec::new(); self.nodes.len()];
        self.nodes[head].source.ask(&times, &mut needed);
        for node in (1..head).rev() {
            needed[node].sort_unstable();
            needed[node].dedup();
            let times = std::mem::take(&mut needed[node]);
            self.nodes[node].source.ask(&times, &mut needed);
            needed[node] = times;
        }
        let mut done: Vec<Moments> = Vec::with_capacity(head);
        for (node, mut times) in needed.into_iter().enumerate().take(head) {
            times.sort_unstable();
            times.dedup();
            let rows = if node == 0 {
                // A sound is thought to go on as it begins and ends, as libvosk does.
                let last = i64::try_from(cepstra.nrows() - 1).unwrap_or(i64::MAX);
                let inside: Vec<usize> = times
                    .iter()
                    .map(|time| usize::try_from((*time).clamp(0, last)).unwrap_or_default())
                    .collect();
                picked(cepstra, &inside)
            } else {
                self.component(node, self.nodes[node].source.rows(&times, &done)?)?
            };
            done.push(Moments { times, rows });
        }
        self.nodes[head].source.rows(&times, &done)
    }

    fn component(&self, node: usize, rows: Array2<f32>) -> Result<Array2<f32>, NetworkError> {
        let (name, component) = &self.components[self.nodes[node].component];
        match component {
            Component::Affine(affine) if affine.weights.ncols() == rows.ncols() => {
                Ok(affine.of(&rows))
            }
            Component::Affine(_) => Err(fault(format!("layer {name} takes another size"))),
            Component::Rectifier => Ok(rows.mapv_into(|value| value.max(0.0))),
            Component::Passing => Ok(rows),
        }
    }

    /// The file again, with other fitted layers.
    #[must_use]
    pub fn with(&self, fitted: &[Affine; 2]) -> Vec<u8> {
        let mut out = Vec::with_capacity(self.bytes.len());
        let mut from = 0;
        for ((begin, end), layer) in self.places.iter().zip(fitted) {
            out.extend_from_slice(&self.bytes[from..*begin]);
            out.extend_from_slice(b"FM ");
            for size in [layer.weights.nrows(), layer.weights.ncols()] {
                put_size(&mut out, size);
            }
            for value in &layer.weights {
                out.extend_from_slice(&value.to_le_bytes());
            }
            out.extend_from_slice(b"<BiasParams> FV ");
            put_size(&mut out, layer.bias.len());
            for value in &layer.bias {
                out.extend_from_slice(&value.to_le_bytes());
            }
            from = *end;
        }
        out.extend_from_slice(&self.bytes[from..]);
        out
    }
}

/// An array of `count` rows, each written by `write` behind those before it.
fn rows_of(width: usize, count: usize, write: impl Fn(usize, &mut Vec<f32>)) -> Array2<f32> {
    let mut values = Vec::with_capacity(width * count);
    for row in 0..count {
        write(row, &mut values);
    }
    Array2::from_shape_vec((count, width), values).expect("each row is as wide as was said")
}

/// All rows of these, one behind the other; they are equally wide.
pub(super) fn stacked<'a>(all: impl Iterator<Item = &'a Array2<f32>>) -> Array2<f32> {
    let (mut width, mut values) = (0, Vec::new());
    for one in all {
        width = one.ncols();
        for row in one.rows() {
            put(row, &mut values);
        }
    }
    let count = values.len() / width.max(1);
    Array2::from_shape_vec((count, width), values).expect("they are equally wide")
}

fn put(row: ArrayView1<f32>, out: &mut Vec<f32>) {
    match row.as_slice() {
        Some(values) => out.extend_from_slice(values),
        None => out.extend(row),
    }
}

/// These rows, in this order.
fn picked(rows: &Array2<f32>, places: &[usize]) -> Array2<f32> {
    rows_of(rows.ncols(), places.len(), |row, out| {
        put(rows.row(places[row]), out);
    })
}

fn put_size(out: &mut Vec<u8>, size: usize) {
    out.push(4);
    let size = i32::try_from(size).expect("it was read from 31 bits");
    out.extend_from_slice(&size.to_le_bytes());
}

/// The values of one node at the moments that are needed, in order of time.
struct Moments {
    times: Vec<i64>,
    rows: Array2<f32>,
}

impl Source {
    fn ask(&self, times: &[i64], needed: &mut [Vec<i64>]) {
        match self {
            Self::Node(node) => needed[*node].extend_from_slice(times),
            Self::Offset(of, by) => {
                let moved: Vec<i64> = times.iter().map(|time| time + by).collect();
                of.ask(&moved, needed);
            }
            Self::Append(all) | Self::Sum(all) => {
                for one in all {
                    one.ask(times, needed);
                }
            }
            Self::Scale(_, of) => of.ask(times, needed),
        }
    }

    fn rows(&self, times: &[i64], done: &[Moments]) -> Result<Array2<f32>, NetworkError> {
        Ok(match self {
            Self::Node(node) => {
                let from = &done[*node];
                let places: Option<Vec<usize>> = times
                    .iter()
                    .map(|time| from.times.binary_search(time).ok())
                    .collect();
                let places = places.ok_or_else(|| fault("a moment is missing"))?;
                picked(&from.rows, &places)
            }
            Self::Offset(of, by) => {
                let moved: Vec<i64> = times.iter().map(|time| time + by).collect();
                of.rows(&moved, done)?
            }
            Self::Append(all) => {
                let parts = all
                    .iter()
                    .map(|one| one.rows(times, done))
                    .collect::<Result<Vec<_>, _>>()?;
                let width = parts.iter().map(Array2::ncols).sum();
                rows_of(width, times.len(), |row, out| {
                    for part in &parts {
                        put(part.row(row), out);
                    }
                })
            }
            Self::Sum(all) => {
                let mut parts = all.iter().map(|one| one.rows(times, done));
                let mut sum = parts.next().ok_or_else(|| fault("an empty sum"))??;
                for part in parts {
                    let part = part?;
                    if part.dim() != sum.dim() {
                        return Err(fault("a sum of unlike sizes"));
                    }
                    sum += &part;
                }
                sum
            }
            Self::Scale(by, of) => of.rows(times, done)?.mapv_into(|value| value * by),
        })
    }
}
