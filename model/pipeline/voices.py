"""Runs a neural voice's ONNX graph on PyTorch, so that a GPU can speak for many made-up people.

onnxruntime's GPU form has no 8-bit convolution; here the 8-bit weights are taken as whole numbers in floating point, and
a "quantised" input is the input itself in a very small step, so the scales that the graph multiplies by come out right.
Shapes, lengths and token numbers stay on the CPU, sound and features on the device. Only the operators of the voice
of synthesise.py are here; another graph says which it lacks.
"""
import numpy as np
import onnx
import torch
import torch.nn.functional as F
from onnx import numpy_helper

OPERATORS = {}


def operator(*names):
    def known(function):
        for name in names:
            OPERATORS[name] = function
        return function
    return known


def ints(x):
    return [int(v) for v in np.atleast_1d(np.asarray(x))] if not isinstance(x, torch.Tensor) else [int(v) for v in x.reshape(-1).tolist()]


def together(*tensors):
    """The same tensors, those of features and sound on one device: the GPU where one of them is there."""
    device = next((t.device for t in tensors if t is not None and t.device.type != "cpu"), None)
    return [t.to(device) if device is not None and t is not None and (t.is_floating_point() or t.dtype == torch.bool) else t for t in tensors]


def pairwise(function):
    return lambda a, inputs: function(*inputs)


def pads(values):
    half = len(values) // 2
    return [v for k in range(half - 1, -1, -1) for v in (values[k], values[half + k])]


OPERATORS.update({
    "Mul": pairwise(torch.mul), "Add": pairwise(torch.add), "Sub": pairwise(torch.sub), "Pow": pairwise(torch.pow),
    "MatMul": pairwise(torch.matmul), "Equal": pairwise(torch.eq), "Greater": pairwise(torch.gt), "Less": pairwise(torch.lt),
    "GreaterOrEqual": pairwise(torch.ge), "And": pairwise(torch.logical_and), "Where": pairwise(torch.where),
    "Sqrt": lambda a, i: torch.sqrt(i[0]), "Floor": lambda a, i: torch.floor(i[0]), "Sin": lambda a, i: torch.sin(i[0]),
    "Cos": lambda a, i: torch.cos(i[0]), "Exp": lambda a, i: torch.exp(i[0]), "Tanh": lambda a, i: torch.tanh(i[0]),
    "Atan": lambda a, i: torch.atan(i[0]), "Sigmoid": lambda a, i: torch.sigmoid(i[0]), "Round": lambda a, i: torch.round(i[0]),
    "Softmax": lambda a, i: torch.softmax(i[0], a.get("axis", -1)),
    "LeakyRelu": lambda a, i: F.leaky_relu(i[0], a.get("alpha", 0.01)),
    "Transpose": lambda a, i: i[0].permute(a["perm"]),
    "Shape": lambda a, i: torch.tensor(list(i[0].shape)[a.get("start", 0): a.get("end")], dtype=torch.int64),
    "ConstantOfShape": lambda a, i: torch.full(ints(i[0]), numpy_helper.to_array(a["value"]).item() if "value" in a else 0.0,
                                               dtype=torch.from_numpy(numpy_helper.to_array(a["value"]).copy()).dtype if "value" in a else torch.float32),
    "Expand": lambda a, i: i[0].expand(torch.broadcast_shapes(tuple(i[0].shape), tuple(ints(i[1])))),
    "Concat": lambda a, i: torch.cat(i, a["axis"]),
    "Range": lambda a, i: torch.arange(i[0].item(), i[1].item(), i[2].item(), dtype=i[0].dtype),
    "CumSum": lambda a, i: torch.cumsum(i[0], int(i[1])),
    # A step of 1/65536: the graph rounds its biases to whole steps.
    "DynamicQuantizeLinear": lambda a, i: (i[0] * 65536, torch.tensor(1 / 65536), torch.zeros(())),
    "DequantizeLinear": lambda a, i: (i[0].float() - (i[2].float() if len(i) > 2 else 0)) * i[1].to(i[0].device),
    "NonZero": lambda a, i: torch.nonzero(i[0]).T.contiguous().cpu(),
})
# 32-bit whole numbers are biases in steps: they stay with the features.
DTYPES = {1: torch.float32, 6: torch.float32, 7: torch.int64, 9: torch.bool, 10: torch.float32, 11: torch.float32}


@operator("Div")
def divide(a, inputs):
    x, y = inputs
    if not x.is_floating_point():
        return torch.div(x, y, rounding_mode="trunc")
    return torch.nan_to_num(x / y, nan=0.0, posinf=torch.inf, neginf=-torch.inf)   # 0/0: the phase of silence


@operator("Cast")
def cast(a, inputs):
    to = DTYPES[a["to"]]
    x = inputs[0]
    # What becomes a whole number is a length or a place: it goes to the CPU.
    return x.to(to) if to.is_floating_point or to == torch.bool else x.to("cpu").to(to)


@operator("Unsqueeze")
def unsqueeze(a, inputs):
    x = inputs[0]
    axes = ints(inputs[1])
    for k in sorted(v % (x.dim() + len(axes)) for v in axes):
        x = x.unsqueeze(k)
    return x


@operator("Squeeze")
def squeeze(a, inputs):
    axes = ints(inputs[1]) if len(inputs) > 1 else [k for k, n in enumerate(inputs[0].shape) if n == 1]
    return inputs[0].squeeze(tuple(axes))


@operator("Reshape")
def reshape(a, inputs):
    x, shape = inputs[0], ints(inputs[1])
    return x.reshape([x.shape[k] if n == 0 and not a.get("allowzero") else n for k, n in enumerate(shape)])


@operator("Gather")
def gather(a, inputs):
    x, k = inputs
    axis = a.get("axis", 0) % x.dim()
    if k.dim() == 0:
        return x.select(axis, int(k))
    flat = k.reshape(-1)
    flat = torch.where(flat < 0, flat + x.shape[axis], flat).to(x.device)
    return x.index_select(axis, flat).reshape(*x.shape[:axis], *k.shape, *x.shape[axis + 1:])


@operator("ReduceMean")
def mean(a, inputs):
    return inputs[0].mean(a["axes"] if "axes" in a else ints(inputs[1]), keepdim=bool(a.get("keepdims", 1)))


@operator("ReduceSum")
def total(a, inputs):
    return inputs[0].sum(ints(inputs[1]), keepdim=bool(a.get("keepdims", 1)))


@operator("Split")
def split(a, inputs):
    x, axis = inputs[0], a.get("axis", 0)
    sizes = ints(inputs[1]) if len(inputs) > 1 else None
    return torch.split(x, sizes, axis) if sizes else torch.chunk(x, a["num_outputs"], axis)


@operator("Slice")
def slice_of(a, inputs):
    x, starts, ends = inputs[0], ints(inputs[1]), ints(inputs[2])
    axes = ints(inputs[3]) if len(inputs) > 3 else list(range(len(starts)))
    steps = ints(inputs[4]) if len(inputs) > 4 else [1] * len(starts)
    for start, end, axis, step in zip(starts, ends, axes, steps):
        n = x.shape[axis]
        if step < 0:
            k = torch.tensor(list(range(n))[start:(end if end >= -n else None):step], dtype=torch.int64, device=x.device)
            x = x.index_select(axis, k)
        else:
            start, end = (max(0, v + n) if v < 0 else min(v, n) for v in (start, end))
            x = x.narrow(axis, start, max(0, end - start))
            if step > 1:
                x = x[(slice(None),) * (axis % x.dim()) + (slice(None, None, step),)]
    return x


@operator("Clip")
def clip(a, inputs):
    low = inputs[1].item() if len(inputs) > 1 and inputs[1] is not None else None
    high = inputs[2].item() if len(inputs) > 2 and inputs[2] is not None else None
    return inputs[0].clamp(low, high)


@operator("Pad")
def pad(a, inputs):
    mode = {"constant": "constant", "reflect": "reflect", "edge": "replicate"}[a.get("mode", "constant")]
    x, amounts = inputs[0], ints(inputs[1])
    if mode == "constant":
        return F.pad(x, pads(amounts), value=inputs[2].item() if len(inputs) > 2 and inputs[2] is not None else 0.0)
    wide = pads(amounts)
    while len(wide) > 2 and wide[-2:] == [0, 0]:
        wide = wide[:-2]
    return F.pad(x if x.dim() > len(wide) // 2 else x[None], wide, mode=mode).reshape(*[n + amounts[k] + amounts[len(amounts) // 2 + k] for k, n in enumerate(x.shape)])


@operator("Resize")
def resize(a, inputs):
    x, scales = inputs[0], inputs[2].tolist()
    if a["mode"] == "nearest":
        return x.repeat_interleave(int(scales[-1]), -1)
    size = int(x.shape[-1] * scales[-1])
    assert a.get("coordinate_transformation_mode") in ("half_pixel", "pytorch_half_pixel"), a
    return F.interpolate(x, size=size, mode="linear", align_corners=False) if x.dim() == 3 else None


@operator("LayerNormalization")
def layer_norm(a, inputs):
    return F.layer_norm(inputs[0], inputs[0].shape[a.get("axis", -1):] if a.get("axis", -1) < 0 else inputs[0].shape[a["axis"]:],
                        inputs[1], inputs[2] if len(inputs) > 2 else None, a.get("epsilon", 1e-5))


@operator("SkipLayerNormalization")
def skip_layer_norm(a, inputs):
    x = inputs[0] + inputs[1] + (inputs[4] if len(inputs) > 4 and inputs[4] is not None else 0)
    return F.layer_norm(x, x.shape[-1:], inputs[2], inputs[3], a.get("epsilon", 1e-12))


@operator("FastGelu")
def fast_gelu(a, inputs):
    return F.gelu(inputs[0] + (inputs[1] if len(inputs) > 1 else 0), approximate="tanh")


@operator("FusedMatMul")
def fused_matmul(a, inputs):
    x, y = inputs
    return a.get("alpha", 1.0) * torch.matmul(x.mT if a.get("transA") else x, y.mT if a.get("transB") else y)


@operator("MatMulInteger")
def matmul_integer(a, inputs):
    x, w = inputs[:2]
    return torch.matmul(x, w.float() if not w.is_floating_point() else w)


def convolved(a, x, w, bias, up):
    before = a.get("pads", [0, 0])
    if up:
        return F.conv_transpose1d(x, w, bias, a["strides"], before[0], a.get("output_padding", [0]), a["group"], a["dilations"])
    if before[0] != before[-1]:
        x, before = F.pad(x, before), [0]
    return F.conv1d(x, w, bias, a["strides"], before[0], a["dilations"], a["group"])


@operator("Conv")
def conv(a, inputs):
    return convolved(a, inputs[0], inputs[1], inputs[2] if len(inputs) > 2 else None, False)


@operator("ConvInteger")
def conv_integer(a, inputs):
    return convolved(a, inputs[0], inputs[1], None, False)


@operator("ConvTranspose")
def conv_transpose(a, inputs):
    return convolved(a, inputs[0], inputs[1], inputs[2] if len(inputs) > 2 else None, True)


@operator("STFT")
def stft(a, inputs):
    x, step = inputs[0], int(inputs[1])
    window = inputs[2]
    x = x.reshape(x.shape[0], -1).unfold(1, window.shape[0], step) * window
    return torch.view_as_real(torch.fft.rfft(x))


@operator("ScatterND")
def scatter(a, inputs):
    x, k, values = inputs
    x, k = x.clone(), k.to(x.device)
    x[tuple(k[..., j] for j in range(k.shape[-1]))] = values
    return x


class Voice:
    """One voice model on one device. `speak` is the only call."""

    def __init__(self, path, device):
        self.device = torch.device(device)
        graph = onnx.load(str(path)).graph
        self.constants = {t.name: torch.from_numpy(numpy_helper.to_array(t).copy()) for t in graph.initializer}
        self.steps, self.lstms = [], {}
        last = {}
        for node in graph.node:
            for name in node.input:
                last[name] = node.output[0]
        lacking = {n.op_type for n in graph.node} - set(OPERATORS) - {"DynamicQuantizeLSTM"}
        if lacking:
            raise SystemExit(f"operators that voices.py does not know: {sorted(lacking)}")
        for node in graph.node:
            a = {x.name: onnx.helper.get_attribute_value(x) for x in node.attribute}
            a = {k: v.decode() if isinstance(v, bytes) else v for k, v in a.items()}
            if node.op_type == "DynamicQuantizeLSTM":
                self.lstms[node.output[0]] = self._lstm(node)
            if node.op_type in ("MatMulInteger", "ConvInteger"):
                w, zero = self.constants[node.input[1]].float(), self.constants[node.input[3]].float()
                if zero.dim() == 1 and node.op_type == "ConvInteger":
                    zero = zero[:, None, None]
                self.constants[node.input[1] + " whole"] = w - zero
                node.input[1] += " whole"
            gone = [name for name in set(node.input) if last.get(name) == node.output[0] and name not in self.constants]
            self.steps.append((node.op_type, OPERATORS.get(node.op_type), a, list(node.input), list(node.output), gone))
        self.constants = {k: v.to(self.device) if v.is_floating_point() and v.numel() > 1 else v for k, v in self.constants.items()}
        self.out = graph.output[0].name
        self._fold()

    def _fold(self):
        """What does not hang on the input is worked out once."""
        kept = []
        for kind, run, a, inputs, outputs, gone in self.steps:
            if kind != "DynamicQuantizeLSTM" and all(name in self.constants or not name for name in inputs):
                y = run(a, [self.constants[name] if name else None for name in inputs])
                self.constants.update(zip(outputs, y if isinstance(y, tuple) else (y,)))
            else:
                kept.append((kind, run, a, inputs, outputs, gone))
        self.steps = kept

    def _lstm(self, node):
        x, w, r, bias = (self.constants.get(name) for name in node.input[:4])
        w_scale, w_zero, r_scale, r_zero = (self.constants[name].float() for name in node.input[8:12])
        w = (w.float() - w_zero.reshape(-1, 1, 1) if w_zero.dim() else w.float() - w_zero) * (w_scale.reshape(w.shape[0], 1, -1) if w_scale.dim() else w_scale)
        r = (r.float() - r_zero.reshape(-1, 1, 1) if r_zero.dim() else r.float() - r_zero) * (r_scale.reshape(r.shape[0], 1, -1) if r_scale.dim() else r_scale)
        hidden = r.shape[1]
        lstm = torch.nn.LSTM(w.shape[1], hidden, bidirectional=True)

        def gates(m):
            # the file's order is input, output, forget, cell
            i, o, f, c = m.split(hidden, 0)
            return torch.cat([i, f, c, o])
        with torch.no_grad():
            for k, end in enumerate(("", "_reverse")):
                getattr(lstm, "weight_ih_l0" + end).copy_(gates(w[k].T))
                getattr(lstm, "weight_hh_l0" + end).copy_(gates(r[k].T))
                getattr(lstm, "bias_ih_l0" + end).copy_(gates(bias[k][: 4 * hidden]))
                getattr(lstm, "bias_hh_l0" + end).copy_(gates(bias[k][4 * hidden:]))
        return lstm.to(self.device).eval()

    @torch.inference_mode()
    def speak(self, tokens, style, speed):
        """24 kHz sound of token numbers [1,N], style [1,256], speed [1], all numpy."""
        at = dict(tokens=torch.from_numpy(tokens), style=torch.from_numpy(style).to(self.device), speed=torch.from_numpy(speed).to(self.device))
        constants = self.constants
        for kind, run, a, inputs, outputs, gone in self.steps:
            given = together(*[None if not name else at[name] if name in at else constants[name] for name in inputs])
            if kind == "DynamicQuantizeLSTM":
                y, (h, c) = self.lstms[outputs[0]](given[0].to(self.device))
                half = y.shape[2] // 2
                y = (torch.stack([y[..., :half], y[..., half:]], 1), h, c)
            else:
                y = run(a, given)
            if kind in ("Cast", "DequantizeLinear") and y.is_floating_point() and y.numel() > 1:
                y = y.to(self.device)
            if isinstance(y, (tuple, list)):
                at.update(zip(outputs, y))
            else:
                at[outputs[0]] = y
            for name in gone:
                at.pop(name, None)
        return at[self.out].reshape(-1).float().cpu().numpy()
