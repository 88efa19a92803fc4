"""Plans: what is done to a harness, resolved for the one on the bench, and what it must be afterwards. Pure.

load      text -> Plan, and back; the models are in models, steps, conditions; crosscheck says what does not fit
sides     the plan for one side
resolve   conditions decided by as found and answers; graph applies the steps; outcomes keeps what nobody knows
expect    as found + steps -> harness.expected.Expected
hazards   the one rule on restraint and high-voltage circuits
blind     kit wires whose exchange no scan sees
say, sheet   the steps in words; the work sheet
fromscan  a plan from a reference harness
"""
