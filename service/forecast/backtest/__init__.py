"""Forecasts of past days, made from what was known then, scored by what came of them."""
