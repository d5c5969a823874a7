"""What people ask of the forecast: each answer reads its table, and says how sure and how wide.

Without numerics: what is told was worked out before.
"""
