"""Fits kernels, code bytes and stack to the measured networks.

The names and how often each runs must agree with budget/cost.go (cycles) and budget/kernels.go (code, stack)."""
import collections

CLASSES = ('alu shift mul mul_acc mul_long load load_next load_flash store branch_taken branch_not_taken call return '
           'push_pop_base push_pop_each').split()
# Gates, and the family of row kernels: layers whose rows are read by like code.
KINDS = {'gru_after': (3, 'gru_after'), 'gru_before': (3, 'gru_before'), 'lstm': (4, 'lstm'), 'elman_tanh': (1, 'elman'), 'elman_relu': (1, 'elman')}
GROUP = 4  # columns that lie together in a row
TABLE = ('tanh', 'logistic')
FEW_UNITS = 5  # so few states are copied without a loop
NEAR = 0.2  # a network further off than this counts less
PASSES = 6  # of weighting
MARGIN = 8  # bytes of stack for sizes that were not compiled


def layer_name(l):
    return f'{l["kind"]}{l["state_bits"]}'


def matrix_runs(bits, family, rows, columns):
    return {f'row{bits}_{family}': rows, f'group{bits}_{family}': rows * (columns // GROUP), f'left{bits}_{family}': rows * (columns % GROUP)}


def kernel_runs(sample):
    """{part: {kernel: runs per step}}"""
    runs = {('step', ''): {'step': 1}}
    inputs = sample['features']
    for i, l in enumerate(sample['layers']):
        gates, family = KINDS[l['kind']]
        rows = gates * l['units']
        runs['input', f'l{i}'] = matrix_runs(l['input_bits'], family, rows, inputs)
        runs['recurrent', f'l{i}'] = matrix_runs(l['recurrent_bits'], family, rows, l['units'])
        runs['unit', f'l{i}'] = {'layer': 1, layer_name(l): l['units']}
        inputs = l['units']
    for i, d in enumerate(sample['dense']):
        last = i == len(sample['dense']) - 1
        r = matrix_runs(d['bits'], 'dense', d['outputs'], inputs)
        r['layer'] = 1
        if d['activation'] in TABLE:
            r[d['activation'] + '_row'] = d['outputs']
        elif not last:
            r['dense_row'] = d['outputs']
        runs['dense', 'head' if last else f'd{i}'] = r
        inputs = d['outputs']
    return runs


def code_parts(sample):
    """{part of the code: how often}"""
    parts = collections.Counter(base=1)
    uses = collections.Counter()
    table = False
    for l in sample['layers']:
        parts[layer_name(l)] += 1
        parts['few_units'] += l['units'] <= FEW_UNITS
        table |= l['kind'] != 'elman_relu'
        uses.update((l['input_bits'], l['recurrent_bits']))
    for d in sample['dense']:
        uses[d['bits']] += 1
        if d['activation'] in TABLE:
            table = True
            parts['table_row'] += 1
    parts['dense'] += len(sample['dense']) - 1
    parts['one_output'] += sample['dense'][-1]['outputs'] == 1
    parts['table'] += table
    for bits, times in uses.items():
        parts[f'w{bits}'] += 1
        parts[f'w{bits}_more'] += times - 1
    return parts


def arrays(sample):
    """Bytes of the arrays on the stack: those of net_step and those of its largest layer."""
    def aligned(n):
        return (n + 7) // 8 * 8
    step, layer = 0, 0
    for l in sample['layers']:
        wide = l['state_bits'] == 32
        copies = {'gru_after': 0 if wide else 1, 'gru_before': 2}.get(l['kind'], 1)
        layer = max(layer, aligned(2 * l['units'] * copies))
        if wide and l['kind'].startswith('gru'):
            step += aligned(2 * l['units'])
    for d in sample['dense'][:-1]:
        step += aligned(2 * d['outputs'])
    return step + layer


def solve(a, b):
    """x with a x = b, by Gaussian elimination with pivoting."""
    n = len(b)
    m = [row[:] + [v] for row, v in zip(a, b)]
    for i in range(n):
        p = max(range(i, n), key=lambda r: abs(m[r][i]))
        m[i], m[p] = m[p], m[i]
        for r in range(i + 1, n):
            f = m[r][i] / m[i][i]
            for c in range(i, n + 1):
                m[r][c] -= f * m[i][c]
    x = [0.0] * n
    for i in reversed(range(n)):
        x[i] = (m[i][n] - sum(m[i][c] * x[c] for c in range(i + 1, n))) / m[i][i]
    return x


def least_squares(equations, names, positive):
    """Coefficients c that bring Σ c[name]·runs[name] near to value for (runs, value, weight); positive: none below zero,
    by leaving out the most negative one until none is."""
    ridge = 1e-9  # keeps parts that always come together apart
    free = list(names)
    while True:
        place = {n: i for i, n in enumerate(free)}
        a = [[0.0] * len(free) for _ in free]
        b = [0.0] * len(free)
        for runs, value, weight in equations:
            terms = [(place[n], r) for n, r in runs.items() if n in place]
            for i, r in terms:
                b[i] += weight * weight * r * value
                for j, s in terms:
                    a[i][j] += weight * weight * r * s
        for i in range(len(free)):
            a[i][i] += ridge * (a[i][i] or 1)
        x = dict(zip(free, solve(a, b)))
        worst = min(free, key=x.get)
        if not positive or x[worst] >= 0:
            return {n: x.get(n, 0.0) for n in names}
        free.remove(worst)


def fit_kernels(runs):
    """{kernel: {class: count}} from the runs of one instruction set. Each network weighs the same, whatever its size, but one
    that is off by more than NEAR counts less (Huber's weights): now and then the compiler runs out of registers in a loop."""
    equations = []
    for r in runs:
        for part, kernels in kernel_runs(r['sample']).items():
            equations.append((r, kernels, r['parts'].get(part, {})))
    names = sorted({n for _, kernels, _ in equations for n in kernels})
    weights = [1.0] * len(equations)
    for _ in range(PASSES):
        table = {n: {} for n in names}
        for c in CLASSES:
            weighted = [(k, counts.get(c, 0), w / r['instructions']) for (r, k, counts), w in zip(equations, weights)]
            for n, v in least_squares(weighted, names, True).items():
                if round(v, 2) > 0:
                    table[n][c] = round(v, 2)
        every = dict.fromkeys(CLASSES, 1)
        for i, (r, _, _) in enumerate(equations):
            measured = sum(n for counts in r['parts'].values() for n in counts.values())
            off = abs(estimate(table, r['sample'], every) / measured - 1)
            weights[i] = min(1, NEAR / max(off, NEAR)) ** 2
    return table


def fit_code(runs):
    names = sorted({n for r in runs for n in code_parts(r['sample'])})
    equations = [(code_parts(r['sample']), r['code'], 1 / r['code']) for r in runs]
    return {n: round(v) for n, v in least_squares(equations, names, False).items()}


def estimate(table, sample, cost):
    """Cycles of a step; cost: {class: cycles}."""
    return sum(times * n * cost.get(c, 0) for kernels in kernel_runs(sample).values() for k, times in kernels.items() for c, n in table[k].items())


def fit_stack(runs):
    """{layer or more_layers: bytes} above the arrays: the most seen for a layer, and for each layer beyond the first."""
    base = collections.defaultdict(int)
    for r in runs:
        if len(r['sample']['layers']) == 1:
            name = layer_name(r['sample']['layers'][0])
            base[name] = max(base[name], r['stack'] - arrays(r['sample']) + MARGIN)
    more = 0
    for r in runs:
        layers = r['sample']['layers']
        if len(layers) > 1:
            beyond = r['stack'] + MARGIN - arrays(r['sample']) - max(base[layer_name(l)] for l in layers)
            more = max(more, -(-beyond // (len(layers) - 1)))
    return {**dict(sorted(base.items())), 'more_layers': more}


def stack_bound(table, sample):
    layers = sample['layers']
    return arrays(sample) + max(table[layer_name(l)] for l in layers) + (len(layers) - 1) * table['more_layers']
