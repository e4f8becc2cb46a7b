"""A model folder -> weights that train.py can go on from: export.py backwards.

    unfold.py FOLDER CONFIG.json PACKS OUT.pt

The normalisations, which export.py folds into the layers around them, are parted again: their variances are 1 by
then, their means are measured on some of PACKS and then moved by as little as makes the network the same function
as that of FOLDER (printed). The second output, which only training has, begins anew.
"""
import json
import struct
import sys
from pathlib import Path

import numpy as np
import torch

from features import Cepstra, online_mean
from network import Network
from packs import read


def affine_layers(path):
    """Weights and bias of each affine component of a final.mdl that export.py wrote, by name."""
    data = Path(path).read_bytes()
    layers, at = {}, 0
    while (at := data.find(b"<ComponentName> ", at)) >= 0:
        at += len(b"<ComponentName> ")
        name = data[at: data.index(b" ", at)].decode()
        at += len(name) + 1
        if not data.startswith(b"<AffineComponent> ", at):
            continue
        at = data.index(b"<LinearParams> CM2 ", at) + len(b"<LinearParams> CM2 ")
        low, wide, rows, columns = struct.unpack_from("<ffii", data, at)
        weights = np.frombuffer(data, "<u2", rows * columns, at + 16).reshape(rows, columns) * (wide / 65535.0) + low
        at += 16 + 2 * rows * columns + len(b"<BiasParams> FV \x04")
        size, = struct.unpack_from("<i", data, at)
        layers[name] = weights, np.frombuffer(data, "<f4", size, at + 4).astype(np.float64)
        at += 4 + 4 * size
    return layers


def overall_mean(path):
    """The mean that mean_statistics of export.py kept."""
    data = Path(path).read_bytes()
    columns, = struct.unpack_from("<i", data, 11)
    row = np.frombuffer(data, "<f8", columns, 15)
    return row[:-1] / row[-1]


def features_of(packs, cepstra, overall, normalise, seconds=600):
    """Cepstra of some of each pack, one after another: [1, T, filters]."""
    paths = [p.with_suffix("") for p in sorted(Path(packs).glob("*.json")) if not p.stem.startswith("noise")]
    parts = []
    for path in paths:
        sound, _ = read(path)
        x = torch.from_numpy(sound[: 16_000 * max(4, seconds // len(paths))].astype("f4"))
        x = cepstra(x[None] + torch.randn(1, len(x)))
        for start in range(0, x.shape[1] - 400, 400):
            piece = x[:, start: start + 400]
            parts.append(piece - online_mean(piece, overall) if normalise else piece)
    return torch.cat(parts)


def main():
    folder, config, packs, out = Path(sys.argv[1]), json.loads(Path(sys.argv[2]).read_text(encoding="utf-8")), sys.argv[3], sys.argv[4]
    torch.manual_seed(0)
    layers = affine_layers(folder / "am/final.mdl")
    overall = torch.tensor(overall_mean(folder / "am/global_cmvn.stats"), dtype=torch.float32) if config["normalise"] else torch.zeros(config["shape"]["filters"])
    network = Network(config["shape"]).double().eval()

    def put(parameter, weights):
        taps = parameter.shape[2]
        parameter.data = torch.from_numpy(np.ascontiguousarray(weights.reshape(len(weights), taps, -1).transpose(0, 2, 1)))

    blocks = [(f"fast{i}", m) for i, m in enumerate(network.fast)] + [("step", network.step)] + [(f"slow{i}", m) for i, m in enumerate(network.slow)]
    put(network.first.weight, layers["first"][0])
    network.first.bias.data = torch.from_numpy(layers["first"][1])
    for name, block in blocks:
        put(block.narrow.weight, layers[f"{name}.narrow"][0])
        put(block.wide.weight, layers[f"{name}.wide"][0])
        block.wide.bias.data = torch.from_numpy(layers[f"{name}.wide"][1])
    put(network.head.weight, layers["head"][0])
    put(network.output.weight, layers["out"][0])
    norms = [network.first_norm] + [block.norm for _, block in blocks] + [network.head_norm]
    for norm in norms:
        norm.variance.fill_(1 - 1e-3)

    # Sound goes through layer by layer: what a layer's normalisation takes away must be known before the next is met.
    x = features_of(packs, Cepstra(**config["cepstra"]), overall, config["normalise"]).double()

    def take_away(norm, y, gone, after):
        """Sets what `norm` takes away: the mean of `y`, moved by as little as makes the bias of the narrow layer `after` vanish.
        Gives what is missing from the stream behind it, of which `gone` was missing before."""
        mean = y.reshape(-1, y.shape[2]).mean(0)
        name, block = after
        weights = block.narrow.weight.sum(2)
        short = torch.from_numpy(layers[f"{name}.narrow"][1]) - weights @ (0.66 * gone - mean)
        move = torch.linalg.lstsq(weights, short[:, None], driver="gelsd").solution[:, 0]
        print(f"before {name}: mean moved by {float(move.norm() / mean.norm()):.2f} of its length")
        norm.mean.copy_(mean - move)
        return 0.66 * gone - norm.mean

    with torch.no_grad():
        y = torch.relu(network.first(x))
        gone = take_away(network.first_norm, y, torch.zeros(y.shape[2], dtype=y.dtype), blocks[0])
        y = network.first_norm(y)
        for k, (name, block) in enumerate(blocks):
            if name == "step":
                y = y[:, ::3]
            inner = torch.relu(block.wide(block.narrow(y)))
            if k + 1 < len(blocks):
                gone = take_away(block.norm, inner, gone, blocks[k + 1])
            else:
                block.norm.mean.copy_(inner.reshape(-1, inner.shape[2]).mean(0))
                gone = 0.66 * gone - block.norm.mean
            y = block(y)
        network.head.bias.data = torch.from_numpy(layers["head"][1]) - network.head.weight[:, :, 0] @ gone
        inner = torch.relu(network.head(y))
        network.head_norm.mean.copy_(inner.reshape(-1, inner.shape[2]).mean(0))
        network.output.bias.data = torch.from_numpy(layers["out"][1]) + network.output.weight[:, :, 0] @ network.head_norm.mean
    torch.save(dict(network={k: v.float() for k, v in network.state_dict().items()}, config=config, overall=overall, steps=0), out)

    from export import folded
    again = {name: (weights, bias) for name, weights, bias, *_ in folded(network)}
    worst = max(float(np.abs(bias - layers[name][1]).max()) for name, (_, bias) in again.items())
    print(f"{out}: {len(again)} layers, folded again no bias differs by more than {worst:.2g}")


if __name__ == "__main__":
    main()
