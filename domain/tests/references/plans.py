"""Least-cost seasons under two invented limits by an independent solver, as cases for tests/trade/references.rs.

Run once with: pip install pulp && python3 plans.py > plans.toml
Limits: 0.9 lb N in one application, 2.7 lb N in the year. Five rounds, one product a round, 0.5 lb of product at least.
"""
import random

import pulp

ROUNDS, ONCE, YEAR, LEAST = 5, 0.9, 2.7, 0.5


def season(products, nitrogen, potash):
    problem = pulp.LpProblem("season", pulp.LpMinimize)
    cells = [(r, p) for r in range(ROUNDS) for p in range(len(products))]
    amount = {cell: pulp.LpVariable(f"x_{cell[0]}_{cell[1]}", 0, 1000) for cell in cells}
    used = {cell: pulp.LpVariable(f"y_{cell[0]}_{cell[1]}", cat="Binary") for cell in cells}
    short_n, short_k = pulp.LpVariable("n", 0), pulp.LpVariable("k", 0)
    problem += 100000 * short_n + 10000 * short_k + pulp.lpSum(
        amount[cell] * (products[cell[1]][2] / 50) for cell in cells
    )
    brought = lambda at: pulp.lpSum(amount[cell] * products[cell[1]][at] / 100 for cell in cells)  # noqa: E731
    problem += brought(0) + short_n >= nitrogen
    problem += brought(0) <= min(nitrogen, YEAR)
    problem += brought(1) + short_k >= potash
    for cell in cells:
        problem += amount[cell] <= 1000 * used[cell]
        problem += amount[cell] >= LEAST * used[cell]
        problem += amount[cell] * products[cell[1]][0] / 100 <= ONCE
    for r in range(ROUNDS):
        problem += pulp.lpSum(used[(r, p)] for p in range(len(products))) <= 1
    problem.solve(pulp.PULP_CBC_CMD(msg=0, gapRel=0))
    cost = sum(amount[cell].value() * products[cell[1]][2] / 50 for cell in cells)
    return cost, short_n.value(), short_k.value()


print(f"# Written by plans.py with PuLP {pulp.__version__} and CBC.")
chance = random.Random(20260301)
for _ in range(40):
    products = [
        (chance.randrange(8, 46), chance.choice([0, 0, 5, 10, 20]), chance.randrange(20, 70))
        for _ in range(chance.randrange(1, 4))
    ]
    nitrogen, potash = chance.randrange(5, 40) / 10, chance.randrange(0, 20) / 10
    cost, short_n, short_k = season(products, nitrogen, potash)
    print("\n[[season]]")
    print(f"# Percent of N and of K2O, dollars for 50 lb.\nproducts = {[list(product) for product in products]}")
    print(f'nitrogen = "{nitrogen}"\npotash = "{potash}"')
    print(f"dollars_on_1000_sqft = {cost:.4f}\nmissing_nitrogen = {short_n:.4f}\nmissing_potash = {short_k:.4f}")
