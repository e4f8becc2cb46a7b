//! Small steps of two layers towards what was said (Adam: Kingma and Ba, ICLR 2015). State: Adam's
//! running means.

use ndarray::{Array1, Array2, Axis, s};

use super::super::network::{Affine, stacked};
use super::super::objective::{Following, Place, anything, said};

/// How strongly the old answers are held to.
const HOLD: f32 = 0.3;

/// A sound to learn from.
pub(super) struct Lesson {
    pub(super) heard: Array2<f32>,
    /// The scores before anything was changed.
    pub(super) old: Array2<f32>,
    pub(super) places: Vec<Place>,
}

/// What the fitted layers make of a sound.
pub(super) struct Scores {
    head: Array2<f32>,
    pub(super) out: Array2<f32>,
}

impl Scores {
    pub(super) fn of(layers: &[Affine; 2], heard: &Array2<f32>) -> Self {
        let head = layers[0].of(heard).mapv_into(|value| value.max(0.0));
        let out = layers[1].of(&head);
        Self { head, out }
    }
}

/// In which way the layers are to be moved, summed over sounds.
pub(super) struct Change([Affine; 2]);

impl Change {
    pub(super) fn none(layers: &[Affine; 2]) -> Self {
        Self(layers.each_ref().map(|layer| Affine {
            weights: Array2::zeros(layer.weights.raw_dim()),
            bias: Array1::zeros(layer.bias.raw_dim()),
        }))
    }

    /// What these sounds ask for. All of them go through the layers together.
    pub(super) fn of(lessons: &[&Lesson], layers: &[Affine; 2], following: &Following) -> Self {
        let heard = stacked(lessons.iter().map(|lesson| &lesson.heard));
        let scores = Scores::of(layers, &heard);
        let mut by_score = Array2::zeros(scores.out.raw_dim());
        #[expect(clippy::cast_precision_loss, reason = "80 outputs")]
        let hold = 2.0 * HOLD / scores.out.ncols() as f32;
        let mut from = 0;
        for lesson in lessons {
            let rows = s![from..from + lesson.heard.nrows(), ..];
            from += lesson.heard.nrows();
            let out = scores.out.slice(rows).to_owned();
            if let Some((_, wanted)) = said(&out, &lesson.places) {
                let (_, any) = anything(&out, following);
                let change = &any - &wanted + (&out - &lesson.old) * hold;
                by_score.slice_mut(rows).assign(&change);
            }
        }
        let mut by_head = by_score.dot(&layers[1].weights);
        by_head.zip_mut_with(&scores.head, |change, value| {
            if *value <= 0.0 {
                *change = 0.0;
            }
        });
        Self(
            [(&by_head, &heard), (&by_score, &scores.head)].map(|(change, input)| Affine {
                weights: change.t().dot(input),
                bias: change.sum_axis(Axis(0)),
            }),
        )
    }
}

/// Adam's running means of changes and of their squares.
pub(super) struct Adam {
    mean: Change,
    square: Change,
    steps: i32,
}

impl Adam {
    pub(super) fn new(layers: &[Affine; 2]) -> Self {
        Self {
            mean: Change::none(layers),
            square: Change::none(layers),
            steps: 0,
        }
    }

    pub(super) fn step(
        &mut self,
        layers: &mut [Affine; 2],
        change: Change,
        scale: f32,
        speed: f32,
    ) {
        const A: f32 = 0.9;
        const B: f32 = 0.999;
        self.steps += 1;
        let (mean_by, square_by) = (1.0 - A.powi(self.steps), 1.0 - B.powi(self.steps));
        // A change that is far too large says that a clip is odd: it is cut to a length of 3.
        let length: f32 = change
            .0
            .iter()
            .map(|layer| {
                let squares = |sum: f32, value: &f32| sum + value * value;
                layer.weights.iter().fold(0.0, squares) + layer.bias.iter().fold(0.0, squares)
            })
            .sum::<f32>()
            .sqrt()
            * scale;
        let scale = scale * (3.0 / length.max(3.0));
        let one = |value: &mut f32, change: f32, mean: &mut f32, square: &mut f32| {
            let change = change * scale;
            *mean = A * *mean + (1.0 - A) * change;
            *square = B * *square + (1.0 - B) * change * change;
            *value -= speed * (*mean / mean_by) / ((*square / square_by).sqrt() + 1.0e-8);
        };
        for (place, layer) in layers.iter_mut().enumerate() {
            let (change, mean, square) = (
                &change.0[place],
                &mut self.mean.0[place],
                &mut self.square.0[place],
            );
            ndarray::Zip::from(&mut layer.weights)
                .and(&change.weights)
                .and(&mut mean.weights)
                .and(&mut square.weights)
                .for_each(|value, change, mean, square| one(value, *change, mean, square));
            ndarray::Zip::from(&mut layer.bias)
                .and(&change.bias)
                .and(&mut mean.bias)
                .and(&mut square.bias)
                .for_each(|value, change, mean, square| one(value, *change, mean, square));
        }
    }
}
