"""Instruction class (package targets) of an executed instruction."""
import re

LOADS = {'ldr', 'ldrb', 'ldrh', 'ldrsb', 'ldrsh', 'lw', 'lh', 'lb', 'lhu', 'lbu'}
CONDITIONS = 'eq ne cs cc mi pl vs vc hi ls ge lt gt le hs lo'.split()

AVR = {}
for names, counts in (
        ('call rcall icall', {'call': 1}), ('ret', {'return': 1}), ('push pop', {'push_pop_each': 1}),
        ('mul muls mulsu fmul fmuls', {'mul': 1}), ('lpm', {'load_flash': 1}), ('ld ldd lds', {'load': 1}),
        ('st std sts', {'store': 1}), ('adiw sbiw', {'alu': 2}), ('lsl lsr rol ror asr', {'shift': 1}),
        ('rjmp ijmp', {'branch_taken': 1}), ('jmp', {'branch_taken': 1, 'alu': 1}),
        ('add adc sub subi sbc sbci and andi or ori eor com neg inc dec cp cpc cpi mov movw ldi clr tst swap in out '
         'bld bst set clt cli sei nop sec clc ser', {'alu': 1})):
    for name in names.split():
        AVR[name] = counts

RV32 = {}
for names, counts in (
        ('sw sh sb', {'store': 1}), ('jal jalr j call tail', {'call': 1}), ('ret jr', {'return': 1}),
        ('slli srli srai sll srl sra', {'shift': 1}), ('mul', {'mul': 1}), ('mulh mulhu mulhsu', {'mul_long': 1}),
        ('add addi sub and andi or ori xor xori li lui mv neg not slt slti sltu sltiu seqz snez sltz sgtz auipc nop '
         'zext', {'alu': 1})):
    for name in names.split():
        RV32[name] = counts

ARM = {}
for names, counts in (
        ('lsl lsr asr ror lsls lsrs asrs rors', {'shift': 1}), ('mul muls smulbb smulbt smultb smultt', {'mul': 1}),
        ('mla mls smlabb smlabt smlatb smlatt smlad smladx smlald', {'mul_acc': 1}), ('smull umull smlal umlal', {'mul_long': 1}),
        ('str strb strh', {'store': 1}), ('ldrd strd', {'push_pop_base': 1, 'push_pop_each': 2}), ('bl blx', {'call': 1}),
        ('bx', {'return': 1}),
        ('add adds addw sub subs subw rsb rsbs neg negs cmp cmn mov movs movw movt mvn mvns and ands orr orrs orn eor '
         'eors bic bics tst teq sxth uxth sxtb uxtb sxtah uxtah sxtab uxtab sxtb16 uxtb16 ssub16 sadd16 ubfx sbfx bfi bfc ssat usat '
         'adc adcs sbc sbcs nop it itt ite ittt itte itet itee itttt clz rev pkhbt pkhtb', {'alu': 1})):
    for name in names.split():
        ARM[name] = counts


def base(mnemonic):
    """The mnemonic without marks of width."""
    return mnemonic[2:] if mnemonic.startswith('c.') else mnemonic.split('.')[0]


def is_load(mnemonic):
    return base(mnemonic) in LOADS


def branch(taken):
    return {'branch_taken': 1} if taken else {'branch_not_taken': 1}


def classify(family, mnemonic, operands, taken, chained, flash):
    """Counts by class. taken: the next address does not follow; chained: a load
    directly behind a load; flash: the share of constants among what its source line loads."""
    name = base(mnemonic)
    if family == 'avr':
        if name in ('add', 'adc') and len({o.strip() for o in operands.split(';')[0].split(',')}) == 1:
            return {'shift': 1}
        if name.startswith('br') or name in ('cpse', 'sbrc', 'sbrs'):
            return branch(taken)
        return AVR[name]
    if name in LOADS:
        if chained:
            return {'load_next': 1}
        if '[pc' in operands:
            flash = 1
        return {c: n for c, n in (('load_flash', flash), ('load', 1 - flash)) if n}
    if family == 'rv32':
        if name[0] == 'b':
            return branch(taken)
        return RV32[name]
    if name in ('push', 'pop') or name.startswith(('ldm', 'stm')):
        registers = 0
        for r in re.search(r'\{(.*?)\}', operands).group(1).split(','):
            low, _, high = r.strip().partition('-')
            registers += int(high[1:]) - int(low[1:]) + 1 if high else 1
        counts = {'push_pop_base': 1, 'push_pop_each': registers}
        if re.search(r'\bpc\}', operands):
            counts['return'] = 1
        return counts
    if name == 'b':
        return {'branch_taken': 1}
    if name in ('cbz', 'cbnz') or (name[0] == 'b' and name[1:] in CONDITIONS):
        return branch(taken)
    if name in ARM:
        return ARM[name]
    if name[-2:] in CONDITIONS:
        if name[:-2] in LOADS:
            return {'load': 1}
        return ARM[name[:-2]]
    raise ValueError(f'no class for the instruction {name} {operands}: add it to classes.py')
