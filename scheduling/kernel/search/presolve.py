"""What HiGHS leaves out of its presolve here, as its option `presolve_rule_off` takes it (a bit for each rule)."""

# Takes half of the time and leaves a worse answer where nodes run out (measured).
_PROBING = 1 << 15
# Enumerating solutions of short rows: where it fixes all but one of an equation's columns, HiGHS 1.15 drops the equation (its
# issue 3216, 2026).
_ENUMERATION = 1 << 16

RULES_OFF = _PROBING | _ENUMERATION
