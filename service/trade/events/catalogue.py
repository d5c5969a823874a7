"""The catalogue lives in the log too: sites, places, what is grafted, plans, rules."""

from typing import Annotated, Literal

from msgspec import Meta

from service.trade.events.envelope import Envelope
from service.trade.events.plant_health import PlantHealth
from service.trade.methods import MethodName
from service.trade.words import Code, Data, Days, Occurred, Ref, Text, Word


class TemperatureRange(Data, frozen=True, kw_only=True):
    """From which to which temperature all is well, degrees Celsius."""

    lowest_c: Annotated[float, Meta(ge=-60, le=60)]
    highest_c: Annotated[float, Meta(ge=-60, le=60)]


class Watch(Data, frozen=True, kw_only=True):
    """What is told of temperatures, frost and loggers. null: not watched.

    The ranges that we came with are common practice, without a source; wood and young trees of
    crops differ, so state your own.
    """

    bench_c: Annotated[
        TemperatureRange | None, Meta(description="Where trees and liners stand.")
    ] = TemperatureRange(lowest_c=2, highest_c=42)
    cooler_c: Annotated[
        TemperatureRange | None, Meta(description="Where budwood is kept: places of kind cooler.")
    ] = TemperatureRange(lowest_c=1, highest_c=13)
    frost_c: (
        Annotated[
            float,
            Meta(ge=-60, le=60, description="A day foretold as cold as that is told as frost."),
        ]
        | None
    ) = 2
    silent_hours: (
        Annotated[
            int, Meta(ge=1, le=24 * 14, description="A logger that is silent for longer is told.")
        ]
        | None
    ) = 3
    keeping_days: Annotated[
        Days, Meta(description="Wood is told so many days before its usual keeping time ends.")
    ] = 3


class SiteNorms(Data, frozen=True, kw_only=True):
    """Norms of a site: defaults and remarks hang on them. All may be changed.

    The numbers are common practice, without a source.
    """

    returns_allowed: Annotated[bool, Meta(description="May sold trees come back to the site?")] = (
        True
    )
    regraft_same_source: Annotated[
        bool, Meta(description="Must a regraft use wood of the same original source?")
    ] = True
    bag_buds_min: Annotated[
        int, Meta(ge=1, le=1000, description="A bag with fewer buds is remarked as short.")
    ] = 15
    bag_sticks_usual: Annotated[
        int,
        Meta(
            ge=1,
            le=100,
            description="Sticks usual in a bag: three; two where buds sit close, up to five.",
        ),
    ] = 3
    scion_length_mm: Annotated[
        int, Meta(ge=5, le=500, description="Length of a prepared piece, millimetres.")
    ] = 38
    scion_buds: Annotated[int, Meta(ge=1, le=20, description="Buds on a prepared piece.")] = 2
    cut_length_mm: Annotated[
        int, Meta(ge=1, le=200, description="Length of the cut that it goes into, millimetres.")
    ] = 13
    first_push_days: Annotated[
        Days, Meta(description="A push earlier than this after grafting is remarked.")
    ] = 4
    look_every_days: Annotated[
        Days, Meta(description="A place with live trees wants a look at least this often.")
    ] = 14
    watch: Annotated[Watch | None, Meta(description="Left out: the ranges that we came with.")] = (
        None
    )


Monthly = Annotated[
    list[Annotated[float, Meta(ge=-60, le=60)]],
    Meta(min_length=12, max_length=12, description="Degrees Celsius, January to December."),
]


class ClimateNormal(Data, frozen=True, kw_only=True):
    """Mean daily minimum and maximum of each month over many years, at or near the site.

    Where the site's own record is short, the weather ahead leans on it.
    """

    source: Annotated[
        Text,
        Meta(
            description="Who states it, for which station and years.",
            examples=["national weather service, nearest station, 1991-2020"],
        ),
    ]
    min_c: Monthly
    max_c: Monthly


class Site(Data, frozen=True, kw_only=True, tag_field="kind", tag="site"):
    """A nursery location."""

    code: Code
    name: Text
    time_zone: Annotated[
        str,
        Meta(
            pattern=r"^[A-Za-z][A-Za-z0-9_+/-]{0,63}$(?!\n)",
            description="IANA time zone; the site's calendar days are its days.",
            examples=["Europe/Madrid"],
        ),
    ]
    latitude: Annotated[float, Meta(ge=-90, le=90, description="Degrees north.")]
    longitude: Annotated[float, Meta(ge=-180, le=180, description="Degrees east.")]
    table_word: Annotated[
        Literal["table", "bench", "row"], Meta(description="What this site calls a table.")
    ] = "table"
    norms: SiteNorms = SiteNorms()
    climate_normal: ClimateNormal | None = None
    plant_health: PlantHealth | None = None
    retired: bool = False


class Place(Data, frozen=True, kw_only=True, tag_field="kind", tag="place"):
    """A table, bed, box or cooler in a named structure of a site."""

    code: Code
    site: Code
    place_kind: Literal["table", "bed", "box", "cooler"] = "table"
    structure: Annotated[Text, Meta(description="The house it is in.", examples=["House 2"])]
    for_returns: Annotated[
        bool, Meta(description="True: kept apart, for trees that came back.")
    ] = False
    sensors: Annotated[
        list[Text],
        Meta(
            max_length=20,
            description="Loggers that stand here, as readings name them. One in a cooler counts in "
            "no degree-days; one that no place names is taken to be at the benches.",
            examples=[["logger 3, House 2"]],
        ),
    ] = []
    retired: bool = False


class Cultivar(Data, frozen=True, kw_only=True, tag_field="kind", tag="cultivar"):
    """What is grafted."""

    code: Code
    crop: Annotated[Word, Meta(examples=["citrus"])]
    species: Annotated[Text, Meta(examples=["Citrus sinensis"])]
    epithet: Annotated[Text, Meta(description="Cultivar epithet, bare of quotes (ICNCP).")]
    clone: Annotated[Text, Meta(description="Budline or clone.")] | None = None
    licence_holder: Ref | None = None
    licence_terms: Text | None = None
    licence_counts: Annotated[
        Literal["sold", "grafted"] | None,
        Meta(description="What is owed for: trees sold, less those returned, or grafts made."),
    ] = None
    retired: bool = False


class Rootstock(Data, frozen=True, kw_only=True, tag_field="kind", tag="rootstock"):
    """What it is grafted on."""

    code: Code
    crop: Word
    name: Text
    retired: bool = False


class Size(Data, frozen=True, kw_only=True, tag_field="kind", tag="size"):
    """A container or field size."""

    code: Code
    label: Annotated[Text, Meta(examples=["2.5 litre"])]
    rank: Annotated[int, Meta(ge=0, le=1000, description="Small to large.")] = 0
    retired: bool = False


class SourceTree(Data, frozen=True, kw_only=True, tag_field="kind", tag="source_tree"):
    """A registered tree that budwood is cut from."""

    code: Code
    cultivar: Code
    tree_class: Annotated[
        Literal["foundation", "increase", "scion", "own"],
        Meta(description="Standing of the tree in its scheme."),
    ] = "own"
    registration: Ref | None = None
    last_tested_on: Occurred | None = None
    expires_on: Annotated[Occurred, Meta(description="Last day of its registration.")] | None = None
    site: Code | None = None
    retired: bool = False


class CheckPlan(Data, frozen=True, kw_only=True, tag_field="kind", tag="check_plan"):
    """Which check is due when, for a crop, method and stage."""

    code: Code
    check: Annotated[Word, Meta(description="The check's name.", examples=["read_take"])]
    crop: Annotated[Word, Meta(description="Left out: any crop.")] | None = None
    method: Annotated[MethodName, Meta(description="Left out: any method.")] | None = None
    stage: Annotated[
        Literal["grafted", "pushed", "ready"] | None,
        Meta(description="Due while trees of this stage stand there. Left out: any live tree."),
    ] = None
    after: Annotated[
        Literal["grafted", "wrapped", "take_read", "forced", "pushed", "last"],
        Meta(
            description="What the days count from: grafting, wrapping, the take read, forcing, the "
            "first push, or the last time this check was done (grafting before the first)."
        ),
    ]
    due_days: Annotated[Days, Meta(description="First due this many days after.")]
    overdue_days: Annotated[Days, Meta(description="Overdue when more days than this have passed.")]
    every_days: (
        Annotated[Days, Meta(description="Due again at this interval. Left out: once.")] | None
    ) = None
    done_by: Annotated[
        list[
            Literal[
                "grafts.wrapped",
                "grafts.unwrapped",
                "tops.forced",
                "tops.removed",
                "push.counted",
                "trees.graded",
                "work.done",
                "place.checked",
            ]
        ],
        Meta(min_length=1, max_length=8, description="Events that count as having done it."),
    ]
    source: Annotated[Text, Meta(description="Where the days are from.")]
    retired: bool = False


class CropDegreeDays(Data, frozen=True, kw_only=True):
    """How the nursery counts the degree-days of a crop from a day's minimum and maximum.

    Where a site's loggers read nearly all hours they are summed instead, between the same
    thresholds and with the same cutoff.
    """

    crop: Annotated[Word, Meta(description="As cultivars name it.", examples=["citrus"])]
    lower_c: Annotated[
        float, Meta(ge=-20, le=50, description="Below it nothing grows, degrees Celsius.")
    ]
    upper_c: Annotated[
        float,
        Meta(ge=-20, le=60, description="Above it the cutoff says what counts, degrees Celsius."),
    ]
    method: Annotated[
        Literal[
            "single_sine",
            "double_sine",
            "single_triangle",
            "double_triangle",
            "simple_average",
            "modified_average",
        ],
        Meta(description="How the day between its minimum and maximum is imagined."),
    ] = "single_sine"
    cutoff: Annotated[
        Literal["horizontal", "intermediate", "vertical"],
        Meta(
            description="Above the upper threshold growth goes on at its rate (horizontal), slows "
            "by as much as it is passed (intermediate), or stands still (vertical)."
        ),
    ] = "horizontal"


Region = Annotated[
    Code,
    Meta(
        description="A country or a part of one by ISO 3166 (ES, US-CA), or a regulated area as "
        "the nursery names it. A country's parts lie in it.",
        examples=["US-CA"],
    ),
]
Regions = Annotated[
    list[Region],
    Meta(
        min_length=1,
        max_length=5,
        description="All that the place lies in, as far as it is known: the country or its part, "
        "and regulated areas.",
        examples=[["US-CA"]],
    ),
]
SendingAnswer = Annotated[
    Literal["allowed", "not_allowed", "ask_authority"],
    Meta(
        description="Whether a thing may be sent somewhere by a rule that was written down. No "
        "advice: who answers for plant health there decides, and `ask_authority` says to ask."
    ),
]


class DestinationRule(Data, frozen=True, kw_only=True):
    """Which goods may be sent where. What is left out is any; a narrower rule goes before a wider.

    Goods must fit all that is said: the sites they leave from, what they are.
    """

    region: Region
    answer: SendingAnswer
    sites: Annotated[
        list[Code], Meta(max_length=50, description="Sites they leave from; none named: any.")
    ] = []
    goods: Annotated[Literal["trees", "buds"] | None, Meta(description="Left out: both.")] = None
    crop: Word | None = None
    species: Text | None = None
    cultivar: Code | None = None
    rootstock: Annotated[Code | None, Meta(description="A rule with one is for trees.")] = None


class Rule(Data, frozen=True, kw_only=True, tag_field="kind", tag="rule"):
    """A norm or legal clock as data: value, where it is from, and as of when. Never advice."""

    code: Code
    title: Text
    value: Annotated[Text, Meta(examples=["7 years"])]
    source: Text
    as_of: Occurred
    degree_days: Annotated[
        CropDegreeDays | None,
        Meta(description="Counts a crop's degree-days so, while the rule is not retired."),
    ] = None
    destination: Annotated[
        DestinationRule | None,
        Meta(description="Says what may be sent where, from `as_of` on, while not retired."),
    ] = None
    retired: bool = False


Entry = Site | Place | Cultivar | Rootstock | Size | SourceTree | CheckPlan | Rule


class CatalogueChangedData(Data, frozen=True, kw_only=True):
    """One entry as it stands from now on, whole."""

    entry: Entry


class CatalogueChanged(Envelope, frozen=True, tag="catalogue.changed", kw_only=True):
    """An entry of the catalogue was made or changed."""

    data: CatalogueChangedData
