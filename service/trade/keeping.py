"""How long budwood keeps, by crop, cold and moist in plastic.

Values from memory of common extension advice; "several weeks if necessary" for citrus is Sauls
2001, and 60 to 120 days cold kept most of citrus viability in a published trial (Rev. Ceres).
They are upper ends used for remarks only; nobody is refused for old wood.
"""

KEEPING_DAYS: dict[str, int] = {"citrus": 90, "avocado": 28, "mango": 10, "apple": 120}

# Take in percent below which a reading is far outside what is usual for the crop: the low end of
# practitioners' ranges (common practice, no source) less twenty points.
UNUSUAL_TAKE_BELOW: dict[str, int] = {"citrus": 60, "apple": 70, "avocado": 40, "mango": 40}
# With fewer trees than this a low take says nothing.
UNUSUAL_TAKE_TREES = 20
