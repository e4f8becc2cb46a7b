"""Lattice-free maximum mutual information, from a flat start and without alignments.

Numerator: what was said, `[silence] word [silence] word ...`, all timings. Denominator: any phones, weighted by a
bigram. Each class is entered with its output 2c and stayed in with 2c + 1, as in the graph that libvosk decodes with.
On a GPU both run as one kernel each (one block a sound); elsewhere as plain loops, which also check the kernels.
"""
import torch

from words import CLASSES

NOT = -1.0e30
MOST_STATES = 256

KERNELS = r"""
__device__ __forceinline__ float add(float a, float b) {
    float hi = fmaxf(a, b), lo = fminf(a, b);
    return hi <= -1e29f ? -1e30f : hi + log1pf(expf(lo - hi));
}
// One block a sound, one thread a state. scores [B,T,D]; classes [B,J]; skip [B,J] says that a state may be left out.
extern "C" __global__ void numerator(const float* scores, const long long* lengths, const long long* classes, const long long* sizes,
        const bool* skip, float* alpha, float* total, float* grad, int T, int D, int J) {
    __shared__ float now[260];
    int b = blockIdx.x, j = threadIdx.x, n = (int)sizes[b], t_end = (int)lengths[b];
    const float* y = scores + (size_t)b * T * D;
    float* a = alpha + (size_t)b * T * J;
    float* g = grad + (size_t)b * T * D;
    bool in = j < n;
    int c = in ? (int)classes[b * J + j] : 0;
    bool over = in && j >= 2 && skip[b * J + j - 1];          // may be reached from two before
    float* s = now + 2;                                        // s[-1], s[-2] stand for "nothing"
    if (j == 0) { now[0] = -1e30f; now[1] = -1e30f; }
    float mine = in && (j == 0 || (j == 1 && skip[b * J])) ? y[2 * c] : -1e30f;
    if (in) a[j] = mine;
    for (int t = 1; t < t_end; t++) {
        __syncthreads();
        if (j < 256) s[j] = mine;
        __syncthreads();
        if (in) {
            float enter = add(s[j - 1], over ? s[j - 2] : -1e30f);
            mine = add(mine + y[t * D + 2 * c + 1], enter + y[t * D + 2 * c]);
            a[t * J + j] = mine;
        }
    }
    bool last = in && (j == n - 1 || (j == n - 2 && skip[b * J + n - 1]));
    __syncthreads();
    s[j] = last ? mine : -1e30f;
    __syncthreads();
    float z = add(s[n - 1], n > 1 ? s[n - 2] : -1e30f);
    if (j == 0) total[b] = z;
    if (z < -1e20f) return;
    bool over2 = in && j + 2 < n && skip[b * J + j + 1];
    float beta = last ? 0.f : -1e30f;
    for (int t = t_end - 1; t >= 0; t--) {
        float enter_now = -1e30f, stay = -1e30f;
        if (in) {
            float enter;
            if (t > 0) {
                const float* p = a + (t - 1) * J;
                enter = add(j >= 1 ? p[j - 1] : -1e30f, over ? p[j - 2] : -1e30f);
                stay = y[t * D + 2 * c + 1];
                float post = expf(fminf(p[j] + stay + beta - z, 0.f));
                if (post > 0.f) atomicAdd(g + t * D + 2 * c + 1, post);
            } else enter = (j == 0 || (j == 1 && skip[b * J])) ? 0.f : -1e30f;
            enter_now = y[t * D + 2 * c] + beta;
            float post = expf(fminf(enter + enter_now - z, 0.f));
            if (post > 0.f) atomicAdd(g + t * D + 2 * c, post);
        }
        if (t == 0) break;
        __syncthreads();
        s[j] = enter_now;
        if (j < 2) now[258 + j] = -1e30f;
        __syncthreads();
        if (in) beta = add(beta + stay, add(j + 1 < n ? s[j + 1] : -1e30f, over2 ? s[j + 2] : -1e30f));
    }
}
// One block of 64 threads a sound. e [B,T,D]: exp of scores less the frame's highest. trans [S,S]. Sums in ordinary numbers.
extern "C" __global__ void denominator(const float* e, const long long* lengths, const float* trans, const float* begin,
        float* alpha, float* enter_all, float* scale, float* grad, int T, int D) {
    const int S = NSTATES;
    __shared__ float v[64]; __shared__ float w[2];
    int b = blockIdx.x, j = threadIdx.x, t_end = (int)lengths[b];
    const float* x = e + (size_t)b * T * D;
    float* a = alpha + (size_t)b * T * S; float* en = enter_all + (size_t)b * T * S; float* sc = scale + (size_t)b * T;
    float* g = grad + (size_t)b * T * D;
    bool in = j < S;
    float p[NSTATES];
    for (int i = 0; i < S; i++) p[i] = in ? trans[i * S + j] : 0.f;
    float mine = 0.f;
    for (int t = 0; t < t_end; t++) {
        float enter = 0.f;
        if (t == 0) enter = in ? begin[j] : 0.f;
        else {
            float q0 = 0.f, q1 = 0.f;
            for (int i = 0; i + 1 < S; i += 2) { q0 += v[i] * p[i]; q1 += v[i + 1] * p[i + 1]; }
            if (S & 1) q0 += v[S - 1] * p[S - 1];
            enter = q0 + q1;
        }
        float val = in ? mine * x[t * D + 2 * j + 1] * (t > 0) + enter * x[t * D + 2 * j] : 0.f;
        float sum = val;
        for (int o = 16; o > 0; o >>= 1) sum += __shfl_xor_sync(0xffffffffu, sum, o);
        if ((j & 31) == 0) w[j >> 5] = sum;
        __syncthreads();
        float total = w[0] + w[1];
        mine = val / total;
        v[j] = mine;
        if (in) { a[t * S + j] = mine; en[t * S + j] = enter; }
        if (j == 0) sc[t] = total;
        __syncthreads();
    }
    for (int i = 0; i < S; i++) p[i] = in ? trans[j * S + i] : 0.f;
    float beta = 1.f;
    for (int t = t_end - 1; t >= 0; t--) {
        float stay = in ? x[t * D + 2 * j + 1] : 0.f, fw = in ? x[t * D + 2 * j] * beta : 0.f, inv = 1.f / sc[t];
        if (in) {
            g[t * D + 2 * j] = en[t * S + j] * fw * inv;
            if (t > 0) g[t * D + 2 * j + 1] = a[(t - 1) * S + j] * stay * beta * inv;
        }
        __syncthreads();
        v[j] = fw;
        __syncthreads();
        float q0 = 0.f, q1 = 0.f;
        for (int i = 0; i + 1 < S; i += 2) { q0 += v[i] * p[i]; q1 += v[i + 1] * p[i + 1]; }
        if (S & 1) q0 += v[S - 1] * p[S - 1];
        beta = (beta * stay + q0 + q1) * inv;
    }
}
"""

_kernels = {}


def _kernel(name):
    import cupy
    if name not in _kernels:
        _kernels[name] = cupy.RawKernel(KERNELS.replace("NSTATES", str(len(CLASSES))), name, options=("--use_fast_math",))
    return _kernels[name]


def _launch(name, blocks, threads, *arguments):
    import cupy
    with cupy.cuda.ExternalStream(torch.cuda.current_stream().cuda_stream):
        _kernel(name)((blocks,), (threads,), tuple(a.data_ptr() if isinstance(a, torch.Tensor) else a for a in arguments))


def numerator(scores, lengths, classes, sizes, skip):
    """scores [B,T,D] float32, lengths [B], classes [B,J] of the states, sizes [B], skip [B,J] bool
    -> log sum over all timings [B], posteriors [B,T,D]. Impossible ones (too short) have a sum below -1e20."""
    if scores.is_cuda:
        import numpy as np
        batch, frames, outputs = scores.shape
        states = classes.shape[1]
        assert states <= MOST_STATES
        scores = scores.contiguous()
        alpha = torch.empty(batch, frames, states, device=scores.device)
        total, grad = torch.empty(batch, device=scores.device), torch.zeros_like(scores)
        _launch("numerator", batch, MOST_STATES, scores, lengths.contiguous(), classes.contiguous(), sizes.contiguous(), skip.contiguous(),
                alpha, total, grad, np.int32(frames), np.int32(outputs), np.int32(states))
        return total, grad
    with torch.enable_grad():
        scores = scores.detach().requires_grad_(True)
        total = _numerator_plain(scores, lengths, classes, sizes, skip)
        possible = total > -1e20
        grad, = torch.autograd.grad(torch.where(possible, total, torch.zeros_like(total)).sum(), scores)
    return total.detach(), torch.nan_to_num(grad)


def _numerator_plain(scores, lengths, classes, sizes, skip):
    batch, frames, _ = scores.shape
    states = classes.shape[1]
    at = torch.arange(states, device=scores.device)[None]
    none = torch.full((batch, states), NOT, device=scores.device)
    pad = lambda x, k: torch.cat([none[:, :k], x[:, :-k]], 1)
    index = (2 * classes)[:, None].expand(batch, frames, states)
    enter, stay = torch.gather(scores, 2, index), torch.gather(scores, 2, index + 1)
    valid = at < sizes[:, None]
    over = torch.where(torch.cat([torch.zeros_like(skip[:, :1]), skip[:, :-1]], 1) & (at >= 2), 0.0, NOT)
    begin = torch.where((at == 0) | ((at == 1) & skip[:, :1]), 0.0, NOT)
    alpha = torch.where(valid, begin + enter[:, 0], none)
    kept = alpha
    for t in range(1, frames):
        new = torch.logaddexp(alpha + stay[:, t], torch.logaddexp(pad(alpha, 1), pad(alpha, 2) + over) + enter[:, t])
        alpha = torch.where(valid, new, none)
        kept = torch.where((lengths == t + 1)[:, None], alpha, kept)
    last = torch.gather(skip, 1, (sizes - 1)[:, None])
    end = (at == sizes[:, None] - 1) | ((at == sizes[:, None] - 2) & last)
    return torch.logsumexp(torch.where(end, kept, none), 1)


def denominator(scores, lengths, trans, begin):
    """scores [B,T,D] float32, lengths [B], trans [S,S] and begin [S] probabilities -> log sum [B], posteriors [B,T,D]."""
    highest = scores.max(2, keepdim=True).values
    valid = torch.arange(scores.shape[1], device=scores.device)[None] < lengths[:, None]
    if scores.is_cuda:
        import numpy as np
        batch, frames, outputs = scores.shape
        states = len(CLASSES)
        e = torch.exp((scores - highest).clamp(min=-60.0)).contiguous()
        alpha = torch.empty(batch, frames, states, device=scores.device)
        enter, scale = torch.empty_like(alpha), torch.ones(batch, frames, device=scores.device)
        grad = torch.zeros_like(scores)
        _launch("denominator", batch, 64, e, lengths.contiguous(), trans.contiguous(), begin.contiguous(), alpha, enter, scale, grad,
                np.int32(frames), np.int32(outputs))
        total = ((torch.log(scale) + highest[..., 0]) * valid).sum(1)
        return total, grad
    with torch.enable_grad():
        scores = scores.detach().requires_grad_(True)
        top = scores.max(2, keepdim=True).values.detach()
        e = torch.exp((scores - top).clamp(min=-60.0))
        enter, stay = e[..., 0::2], e[..., 1::2]
        alpha = begin * enter[:, 0]
        total = torch.log(alpha.sum(1)) + top[:, 0, 0]
        alpha = alpha / alpha.sum(1, keepdim=True)
        for t in range(1, scores.shape[1]):
            new = alpha * stay[:, t] + (alpha @ trans) * enter[:, t]
            sum_ = new.sum(1)
            here = valid[:, t]
            total = total + torch.where(here, torch.log(sum_) + top[:, t, 0], 0.0)
            alpha = torch.where(here[:, None], new / sum_[:, None], alpha)
        grad, = torch.autograd.grad(total.sum(), scores)
    return total.detach(), grad
