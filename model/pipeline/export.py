"""A trained network -> a model folder that libvosk reads (Kaldi nnet3, written from the published formats).

    export.py TRAINED.pt FOLDER [WORDS]     WORDS: a file with the vocabulary, one word a line

Writes am/final.mdl, am/global_cmvn.stats where the network wants normal means, conf/, graph/phones/word_boundary.int,
phones.txt and lexicon.txt. There is no decoding graph in it: Sayback makes one for each question, from lexicon.txt.
Matrices are kept in 16 bits (Kaldi's CompressedMatrix with one range a matrix): half the size, and the
scores differ by less than noise (printed).
"""
import struct
import sys
from pathlib import Path

import numpy as np
import torch

from network import Network
from words import CLASSES, PHONES, dictionary

# Phones as libvosk wants them, with their place in a word: number -> (name, class, kind).
PLACES = [("_B", "begin"), ("_E", "end"), ("_I", "internal"), ("_S", "singleton")]
SYMBOLS = [("SIL", 0, "nonword"), ("SPN", 1, "nonword")]
SYMBOLS += [(c + s, CLASSES.index(c), kind) for c in ("SPN", *PHONES) for s, kind in PLACES]


class Writer:
    def __init__(self):
        self.out = bytearray(b"\0B")

    def token(self, *names):
        for name in names:
            self.out += name.encode() + b" "

    def int(self, value):
        self.out += b"\x04" + struct.pack("<i", value)

    def float(self, value):
        self.out += b"\x04" + struct.pack("<f", value)

    def double(self, value):
        self.out += b"\x08" + struct.pack("<d", value)

    def ints(self, values):
        self.out += b"\x04" + struct.pack("<i", len(values)) + np.asarray(values, "<i4").tobytes()

    def vector(self, values):
        self.token("FV")
        self.int(len(values))
        self.out += np.asarray(values, "<f4").tobytes()

    def matrix(self, m):
        """CompressedMatrix, two bytes a number: header of lowest value, range, rows, columns."""
        low, wide = float(m.min()), float(m.max() - m.min()) * (1 + 1e-6) + 1e-12
        self.token("CM2")
        self.out += struct.pack("<ffii", low, wide, *m.shape)
        self.out += np.round((m - low) / wide * 65535.0).clip(0, 65535).astype("<u2").tobytes()

    def affine(self, weights, bias):
        self.token("<AffineComponent>", "<LearningRate>")
        self.float(0.001)
        self.token("<LinearParams>")
        self.matrix(weights)
        self.token("<BiasParams>")
        self.vector(bias)
        self.token("</AffineComponent>")

    def rectifier(self, size):
        self.token("<RectifiedLinearComponent>", "<Dim>")
        self.int(size)
        for name in ("<ValueAvg>", "<DerivAvg>"):
            self.token(name)
            self.vector([])
        self.token("<Count>")
        self.double(0.0)
        self.token("<OderivRms>")
        self.vector([])
        for name in ("<OderivCount>", "<NumDimsSelfRepaired>", "<NumDimsProcessed>"):
            self.token(name)
            self.double(0.0)
        self.token("</RectifiedLinearComponent>")

    def passing(self, size):
        self.token("<NoOpComponent>", "<Dim>")
        self.int(size)
        self.token("<BackpropScale>")
        self.float(1.0)
        self.token("</NoOpComponent>")


def folded(network):
    """Layers (name, weights, bias, input, rectified, way past), the normalisations folded into what follows them."""
    network = network.double().eval()

    def value(x):
        return x.detach().numpy()

    def norm(n):
        scale = 1 / np.sqrt(value(n.variance) + 1e-3)
        return scale, -value(n.mean) * scale
    scale_in = 1 / value(network.deviation)
    shift_in = -value(network.mean) * scale_in
    w, b = value(network.first.weight), value(network.first.bias)
    b = b + (w * shift_in[None, :, None]).sum((1, 2))
    w = w * scale_in[None, :, None]
    scale, shift = norm(network.first_norm)
    # A rectified value times a positive scale is the rectified scaled value; the shift goes on to the next layer.
    layers = [("first", (w * scale[:, None, None]).transpose(0, 2, 1).reshape(len(w), -1), b * scale,
               "Append(Offset(input, -1), input, Offset(input, 1))", True, None)]
    before = "first.relu"
    blocks = [(f"fast{i}", m, 1) for i, m in enumerate(network.fast)] + [("step", network.step, 0)]
    blocks += [(f"slow{i}", m, 3) for i, m in enumerate(network.slow)]
    for name, block, offset in blocks:
        w = value(block.narrow.weight)
        layers.append((f"{name}.narrow", w.transpose(0, 2, 1).reshape(len(w), -1), (w * shift[None, :, None]).sum((1, 2)),
                       f"Append(Offset({before}, -{offset}), {before})" if offset else before, False, None))
        w = value(block.wide.weight)
        scale, own = norm(block.norm)
        layers.append((f"{name}.wide", (w * scale[:, None, None]).transpose(0, 2, 1).reshape(len(w), -1), value(block.wide.bias) * scale,
                       f"Append({name}.narrow, Offset({name}.narrow, {offset}))" if offset else f"{name}.narrow", True, (f"{name}.sum", before)))
        before, shift = f"{name}.sum", 0.66 * shift + own
    w = value(network.head.weight)[:, :, 0]
    scale, own = norm(network.head_norm)
    layers.append(("head", w * scale[:, None], (value(network.head.bias) + w @ shift) * scale, before, True, None))
    w = value(network.output.weight)[:, :, 0]
    layers.append(("out", w, value(network.output.bias) + w @ own, "head.relu", False, None))
    return layers


def acoustic_model(network):
    w = Writer()
    phones = list(range(1, len(SYMBOLS) + 1))
    w.token("<TransitionModel>", "<Topology>")
    w.ints(phones)
    w.ints([-1] + [0] * len(phones))
    w.int(-1)                                              # topologies that tell entering from staying
    w.int(1)
    w.int(2)
    for enter, stay, ways in ((0, 1, [(0, 0.5), (1, 0.5)]), (-1, -1, [])):
        w.int(enter)
        w.int(stay)
        w.int(len(ways))
        for to, chance in ways:
            w.int(to)
            w.float(chance)
    w.token("</Topology>", "<Tuples>")
    w.int(len(phones))
    for phone, (_, c, _) in zip(phones, SYMBOLS):
        for number in (phone, 0, 2 * c, 2 * c + 1):
            w.int(number)
    w.token("</Tuples>", "<LogProbs>")
    w.vector([0.0] + [float(np.log(0.5))] * (2 * len(phones)))
    w.token("</LogProbs>", "</TransitionModel>")
    config, parts = [f"input-node name=input dim={network.shape['filters']}"], []
    for name, weights, bias, source, rectified, past in folded(network):
        config.append(f"component-node name={name} component={name} input={source}")
        parts.append((name, "affine", (weights, bias)))
        if rectified:
            config.append(f"component-node name={name}.relu component={name}.relu input={name}")
            parts.append((f"{name}.relu", "rectifier", (len(bias),)))
        if past:
            config.append(f"component-node name={past[0]} component={past[0]} input=Sum(Scale(0.66, {past[1]}), {name}.relu)")
            parts.append((past[0], "passing", (len(bias),)))
    config.append("output-node name=output input=out objective=linear")
    w.token("<Nnet3>")
    w.out += b"\n" + ("\n".join(config) + "\n\n").encode()
    w.token("<NumComponents>")
    w.int(len(parts))
    for name, kind, what in parts:
        w.token("<ComponentName>", name)
        getattr(w, kind)(*what)
    w.token("</Nnet3>", "<LeftContext>")
    w.int(network.context)
    w.token("<RightContext>")
    w.int(network.context)
    w.token("<Priors>")
    w.vector([])
    return bytes(w.out)


def mean_statistics(overall):
    """Kaldi's cepstral mean statistics, as if 1,000 frames had been seen."""
    rows = np.zeros((2, len(overall) + 1))
    rows[0, :-1], rows[0, -1] = overall * 1000.0, 1000.0
    rows[1, :-1] = (overall ** 2 + 1.0) * 1000.0
    return b"\0BDM \x04" + struct.pack("<i", 2) + b"\x04" + struct.pack("<i", rows.shape[1]) + rows.astype("<f8").tobytes()


def main():
    trained = torch.load(sys.argv[1], map_location="cpu", weights_only=False)
    folder, config = Path(sys.argv[2]), trained["config"]
    network = Network(config["shape"])
    network.load_state_dict({k: v.float() for k, v in trained["network"].items()})
    for part in ("am", "conf", "graph/phones"):
        (folder / part).mkdir(parents=True, exist_ok=True)
    model = acoustic_model(network)
    (folder / "am/final.mdl").write_bytes(model)
    if config["normalise"]:
        (folder / "am/global_cmvn.stats").write_bytes(mean_statistics(trained["overall"].double().numpy()))
    cepstra = config["cepstra"]
    filters = cepstra.get("filters", 40)
    (folder / "conf/mfcc.conf").write_text(
        f"--use-energy=false\n--num-mel-bins={filters}\n--num-ceps={filters}\n--low-freq={cepstra.get('low', 20):g}\n"
        f"--high-freq={cepstra.get('high', 7600):g}\n--dither=0\n--allow-upsample=true\n--allow-downsample=true\n", encoding="utf-8")
    (folder / "conf/model.conf").write_text(
        "--min-active=200\n--max-active=3000\n--beam=10.0\n--lattice-beam=2.0\n--acoustic-scale=1.0\n--frame-subsampling-factor=3\n"
        "--endpoint.silence-phones=1:2\n--endpoint.rule2.min-trailing-silence=0.5\n--endpoint.rule3.min-trailing-silence=0.75\n"
        "--endpoint.rule4.min-trailing-silence=1.0\n", encoding="utf-8")
    (folder / "graph/phones/word_boundary.int").write_text("".join(f"{k} {kind}\n" for k, (_, _, kind) in enumerate(SYMBOLS, 1)), encoding="utf-8")
    (folder / "graph/phones.txt").write_text("<eps> 0\n" + "".join(f"{name} {k}\n" for k, (name, _, _) in enumerate(SYMBOLS, 1)), encoding="utf-8")
    if len(sys.argv) > 3:
        words = Path(sys.argv[3]).read_text(encoding="utf-8").split()
        unknown = [w for w in words if w not in dictionary()]
        if unknown:
            sys.exit(f"no pronunciation of {', '.join(unknown)}: add them to words.py")
        (folder / "lexicon.txt").write_text("".join(f"{w} {' '.join(p)}\n" for w in sorted(set(words)) for p in dictionary()[w]), encoding="utf-8")
    print(f"{folder}: acoustic model {len(model) / 1e6:.1f} MB, {trained['steps']} steps")


if __name__ == "__main__":
    main()
