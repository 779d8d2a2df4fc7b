"""Step responses and what IEEE Std 181 says of them, reckoned with NumPy alone: an answer from outside to compare with.

Started by waveform_numpy_test.cpp. Systems are solved as state equations by their eigenvalues; levels come from
numpy.histogram, crossings from the samples about them. Prints for each case one line of figures and one of samples.
"""

import numpy

BINS = 256
PERIOD = 1e-4


def step_answer(poles, length=0.4, at=0.05):
    """The answer of a chain of poles (unit gain, complex ones in pairs) to a step at `at`, sampled."""
    order = len(poles)
    characteristic = numpy.real(numpy.poly(poles))
    state = numpy.zeros((order, order))
    state[:-1, 1:] = numpy.eye(order - 1)
    state[-1, :] = -characteristic[1:][::-1]
    drive = numpy.zeros(order)
    drive[-1] = characteristic[-1]
    values, vectors = numpy.linalg.eig(state)
    weights = numpy.linalg.solve(vectors, drive.astype(complex))
    times = numpy.arange(0, length, PERIOD)
    since = numpy.clip(times - at, 0, None)
    modes = (numpy.exp(numpy.outer(since, values)) - 1) / values * weights
    return numpy.real(modes @ vectors[0, :])


def levels(samples):
    counts, edges = numpy.histogram(samples, bins=BINS)
    width = edges[1] - edges[0]
    found = []
    for half, start in ((counts[: BINS // 2], 0), (counts[BINS // 2 :], BINS // 2)):
        mode = start + int(numpy.argmax(half))
        within = (samples >= edges[mode] - width) & (samples <= edges[mode] + 2 * width)
        found.append(samples[within].mean())
    return found


def crossing(share, level, rising):
    """Instants at which a signal passes a level in one direction."""
    before, after = share[:-1], share[1:]
    passes = (before < level) & (after >= level) if rising else (before >= level) & (after < level)
    at = numpy.flatnonzero(passes)
    return (at + (level - before[at]) / (after[at] - before[at])) * PERIOD


def metrics(samples, rising, within):
    low, high = levels(samples)
    share = (samples - low) / (high - low)
    if not rising:
        share = 1 - share
    t90 = crossing(share, 0.9, True)[0]
    t10 = crossing(share, 0.1, True)
    t10 = t10[t10 < t90][-1]
    t50 = crossing(share, 0.5, True)
    t50 = t50[t50 > t10][0]
    overshoot = max(0.0, share[int(numpy.ceil(t50 / PERIOD)) :].max() - 1)
    outside = numpy.flatnonzero(numpy.abs(share - 1) > within)[-1]
    edge = 1 + within if share[outside] > 1 else 1 - within
    settled = (outside + (edge - share[outside]) / (share[outside + 1] - share[outside])) * PERIOD
    return low, high, t10, t50, t90, overshoot, settled


def second_order(zeta, natural):
    root = numpy.sqrt(complex(zeta * zeta - 1))
    return [natural * (-zeta + root), natural * (-zeta - root)]


def main():
    random = numpy.random.default_rng(181)
    cases = []
    for tau in (0.0008, 0.003, 0.012):
        cases.append((step_answer([-1 / tau]), True, 0.02))
    cases.append((step_answer([-1 / 0.002, -1 / 0.003]), True, 0.02))  # two filters in a row, as a module has
    for zeta in (0.2, 0.4, 0.7, 0.95):
        cases.append((step_answer(second_order(zeta, 400)), True, 0.05))
        cases.append((4 - 2.5 * step_answer(second_order(zeta, 250)), False, 0.03))
    for zeta in (0.3, 0.6):
        noisy = 1.2 + 0.9 * step_answer(second_order(zeta, 300))
        cases.append((noisy + random.normal(0, 0.0004, noisy.size), True, 0.02))
    for samples, rising, within in cases:
        print(int(rising), within, *(repr(float(v)) for v in metrics(samples, rising, within)))
        print(*(repr(float(v)) for v in samples))


if __name__ == "__main__":
    main()
