"""Names of invented people, as unevenly spread as in a real register.

A tradition says how given and family names are made in it. Common given names are ordinary words
of their language; nearly all family names, and the long tail of given names, are composed of
syllables by the rules below. How common a name is follows Zipf's law in Mandelbrot's form,
weight = 1 / (rank + flat): common practice for names. `flat` was chosen so that the commonest
family name is borne by about 0.9 % of people and the commonest given name by about 1.7 %, the
order of magnitude of the commonest names of the United States (from memory of the census tables).
"""

import random
import unicodedata
from bisect import bisect
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import accumulate
from typing import NamedTuple


class Deck:
    """Names, the commonest first, drawn as often as their weight says."""

    def __init__(
        self, names: Iterable[str], *, flat: float = 4.0, weights: Sequence[float] = ()
    ) -> None:
        self.names = list(dict.fromkeys(names))
        chosen = weights or [1 / (rank + flat) for rank in range(1, len(self.names) + 1)]
        self._sums = list(accumulate(chosen))
        self._alike: dict[str, list[str]] = {}
        for name in self.names:
            self._alike.setdefault(name[:2], []).append(name)

    def draw(self, rng: random.Random) -> str:
        """Return one name."""
        return self.names[bisect(self._sums, rng.random() * self._sums[-1])]

    def alike(self, rng: random.Random, name: str) -> str:
        """Return another name with the same two letters in front, or any if there is none."""
        others = [other for other in self._alike.get(name[:2], ()) if other != name]
        return rng.choice(others) if others else self.draw(rng)


class Named(NamedTuple):
    """A name, and what is needed to name this person's relatives."""

    given: str
    family: str
    female: bool
    tradition: int  # index into TRADITIONS


@dataclass(frozen=True)
class Tradition:
    """How people are named; `share` is the share of all people, 0 to 1."""

    share: float
    women: Deck
    men: Deck
    family: Callable[[random.Random], str]
    middle_share: float  # of the people whose record holds a second given name
    middle_initial_share: float = 0.0  # of those, who have only its first letter

    def given(self, rng: random.Random, female: bool) -> str:
        """Return a given name, with a second one if it so happens."""
        deck = self.women if female else self.men
        first = deck.draw(rng)
        if rng.random() >= self.middle_share:
            return first
        second = deck.draw(rng)
        while second == first:
            second = deck.draw(rng)
        return f"{first} {second[0] if rng.random() < self.middle_initial_share else second}"


def composed(starts: str, ends: str, most: int, *, middles: str = "") -> list[str]:
    """Return up to `most` words start + middle + end, in an order that is the same every time."""
    parts = [starts.split(), ["", *middles.split()], ends.split()]
    words = [a + b + c for a in parts[0] for b in parts[1] for c in parts[2]]
    words = list(dict.fromkeys(word for word in words if len(word) > 3))
    random.Random(len(words)).shuffle(words)
    return words[:most]


# Short forms of common given names: from memory, common practice. On purpose not taken from the
# package that the engine reads, so that a form which it lacks shows.
SHORT_FORMS = {
    **{"Elizabeth": ["Liz", "Beth", "Betty", "Lizzie", "Eliza"], "Margaret": ["Maggie", "Peggy"]},
    **{"Katherine": ["Kate", "Kathy", "Katie"], "Jennifer": ["Jen", "Jenny"], "Susan": ["Sue"]},
    **{"Patricia": ["Pat", "Patty", "Trish"], "Deborah": ["Deb", "Debbie"], "Barbara": ["Barb"]},
    **{"Rebecca": ["Becky", "Becca"], "Christina": ["Chris", "Tina"], "Pamela": ["Pam"]},
    **{"Victoria": ["Vicky", "Tori"], "Theresa": ["Terry", "Tess"], "Kimberly": ["Kim"]},
    **{
        "Jessica": ["Jess", "Jessie"],
        "Samantha": ["Sam"],
        "Cynthia": ["Cindy"],
        "Judith": ["Judy"],
    },
    **{"Dorothy": ["Dot", "Dottie"], "Sandra": ["Sandy"], "Nicole": ["Nikki"], "Amanda": ["Mandy"]},
    **{"Abigail": ["Abby"], "Gabrielle": ["Gabby"], "Jacqueline": ["Jackie"], "Melissa": ["Missy"]},
    **{"Alexandra": ["Alex", "Sandra"], "Angela": ["Angie"], "Virginia": ["Ginny"]},
    **{"Frances": ["Fran", "Frannie"], "Stephanie": ["Steph"], "Valerie": ["Val"]},
    **{"William": ["Bill", "Will", "Billy", "Liam"], "Robert": ["Bob", "Rob", "Bobby"]},
    **{"Richard": ["Rick", "Dick", "Rich"], "James": ["Jim", "Jimmy", "Jamie"], "John": ["Jack"]},
    **{"Michael": ["Mike", "Mick"], "Joseph": ["Joe", "Joey"], "Thomas": ["Tom", "Tommy"]},
    **{"Charles": ["Charlie", "Chuck"], "Christopher": ["Chris"], "Daniel": ["Dan", "Danny"]},
    **{"Matthew": ["Matt"], "Anthony": ["Tony"], "Steven": ["Steve"], "Andrew": ["Andy", "Drew"]},
    **{"Edward": ["Ed", "Eddie", "Ted"], "Timothy": ["Tim"], "Jeffrey": ["Jeff"]},
    **{"Nicholas": ["Nick"], "Jonathan": ["Jon"], "Benjamin": ["Ben"], "Samuel": ["Sam"]},
    **{"Gregory": ["Greg"], "Alexander": ["Alex", "Sandy"], "Patrick": ["Pat", "Paddy"]},
    **{"Raymond": ["Ray"], "Lawrence": ["Larry"], "Gerald": ["Jerry", "Gerry"], "Henry": ["Hank"]},
    **{"Frederick": ["Fred"], "Ronald": ["Ron"], "Donald": ["Don"], "Kenneth": ["Ken"]},
    **{"Joshua": ["Josh"], "Zachary": ["Zach"], "Theodore": ["Ted", "Theo"], "Peter": ["Pete"]},
    **{"Guadalupe": ["Lupe"], "Francisco": ["Paco", "Pancho"], "José": ["Pepe"], "Jesús": ["Chuy"]},
    **{"Rosario": ["Charo"], "Dolores": ["Lola"], "Ignacio": ["Nacho"], "Manuel": ["Manolo"]},
    **{"Isabel": ["Chabela"], "Enrique": ["Quique"], "Alejandra": ["Ale"], "Rafael": ["Rafa"]},
}

_WOMEN = """
Jennifer Elizabeth Patricia Susan Jessica Margaret Katherine Barbara Deborah Amanda Melissa Nicole
Rebecca Stephanie Angela Kimberly Cynthia Sandra Christina Samantha Pamela Victoria Theresa Judith
Dorothy Virginia Frances Jacqueline Alexandra Abigail Gabrielle Valerie Sarah Lisa Nancy Karen
Betty Helen Donna Carol Ruth Sharon Michelle Laura Emily Kathleen Amy Anna Brenda Rachel Carolyn
Janet Heather Diane Julie Joyce Lauren Kelly Joan Evelyn Olivia Martha Megan Cheryl Andrea Hannah
Jean Alice Ann Gloria Teresa Kathryn Sara Janice Doris Madison Julia Grace Beverly Denise Marilyn
Amber Danielle Brittany Diana Rose Natalie Sophia Kayla Charlotte Tiffany Tracy Wendy Paula April
Dawn Gina Tammy Erin Holly Robin Crystal Stacy Carrie Monica Leslie Regina Felicia Yolanda Latoya
Ebony
"""
_MEN = """
Michael James Robert William David John Richard Joseph Thomas Christopher Charles Daniel Matthew
Anthony Mark Steven Andrew Kenneth Joshua Kevin Brian Timothy Ronald Jason Edward Jeffrey Ryan
Gary Nicholas Eric Jonathan Stephen Larry Justin Scott Brandon Benjamin Samuel Gregory Alexander
Patrick Frank Raymond Jack Dennis Jerry Tyler Aaron Nathan Henry Douglas Peter Zachary Adam Kyle
Walter Noah Jeremy Christian Keith Roger Terry Austin Sean Gerald Carl Dylan Harold Jordan Jesse
Bryan Lawrence Arthur Gabriel Bruce Albert Willie Alan Wayne Roy Ralph Eugene Randy Louis Philip
Johnny Bobby Theodore Frederick Donald Paul Marcus Darnell Reginald Terrence Curtis Leroy Earl
Clarence Dwayne
"""
_WOMEN_TAIL = composed(
    "Al Ar Bri Bree Cal Cas Cor Dan Del Ear Ev Fay Gen Har Jan Jo Ka Kay Kel Kris La Lea Lin "
    "Lor Lu Mal Mar May Mel Mi Na Nor Ra Ren Ro Sal Sha She Ta Tam Ter Tri Va Vi Wil Za",
    "anne bella bel da delle dra ella elle ena ette ia ie ika ina inda ine issa la leigh lee "
    "lene line lyn na nelle nia nita ra ria rice ritta sha tha tta",
    1100,
)
_MEN_TAIL = composed(
    "Al Ar Bar Ben Bran Bray Cal Car Col Cor Da Dar De Del Don Ed El Er Gar Gra Har Ja Jar Jay "
    "Ka Ken La Lan Le Lor Mar May Mer Mor Nor Ra Ran Ro Ros Sher Ste Ta Ter Tra Tre Vic Wal Wil "
    "Za",
    "den der do don drick field in ius land lin lon lous man mar mond nard nell neth rell rence "
    "rick ron rus ry son ston vin vis von ward win",
    900,
)
_SPANISH_WOMEN = """
María Guadalupe Ana Rosa Carmen Isabel Dolores Sofía Alejandra Verónica Patricia Leticia Silvia
Lucía Gabriela Adriana Elena Mónica Rosario Teresa Yolanda Martha Luz Esperanza Claudia Norma
Beatriz Ángela Daniela Mariana Valentina Inés Raquel Rocío Graciela Marisol Consuelo Blanca
Concepción Josefina
"""
_SPANISH_MEN = """
José Juan Luis Carlos Jesús Miguel Francisco Manuel Antonio Pedro Jorge Alejandro Rafael Ramón
Ángel Fernando Ricardo Eduardo Roberto Sergio Javier Raúl Martín Enrique Óscar Víctor Héctor
Andrés Ignacio Julio Alberto Arturo Rubén Salvador Tomás Joaquín Agustín Hernán Félix Germán
"""
_TRADES = """
Miller Baker Carter Cooper Mason Fletcher Turner Parker Walker Porter Fisher Potter Weaver Sawyer
Thatcher Tanner Glover Chandler Shepherd Gardener Forester Hunter Fowler Barker Slater Tyler
Wright Marsh Brook Hill Lake Stone Field Rivers Woods Banks Ford Green Brown White Black Gray
Young Long
"""
_ENGLISH = composed(
    "Ash Ald Ather Bar Barn Beck Ben Black Brad Bram Brock Brom Brook Burn Cal Carl Chad Charl "
    "Clay Cliff Cole Cot Cran Crom Dal Dan Den Dray Dun East Eld Ell Em Fair Fen Fern Gar Gil "
    "Glad Gran Green Had Hal Ham Har Hart Hath Hay Hazel Hen Hol Hunt Hux Ing Kel Ken King Kirk "
    "Lam Lang Lan Law Lin Long Lud Mal Mar Mel Mid Mil Mor Nor North Oak Pem Pen Pres Rad Ray "
    "Red Rich Rid Rock Rod Rose Row Rush Sel Shel Sher Ship Stan Stock Strat Sut Swin Tal Thorn "
    "Til Under Wal War Wen Wes Whit Wil Win Wood Wor Wyn Yar",
    "bert borne bourne bridge brook burn bury by combe cott croft dale den der dridge field "
    "ford gate ham hurst kin land ler ley lin low man mer mond more mott ner ney nor ridge sey "
    "shaw son stead ster sworth ter ton trell wall ward well wick win wood worth",
    6500,
)
_FAR_AND_WIDE = composed(
    "Ab Ad Ak Ba Be Bo Cha Da De Do Du E Fa Ga Go Ha I Ja Ka Ke Ko Kra La Le Li Lu Ma Me Mo Na "
    "Ne No O Pa Pe Po Ra Re Ro Sa Se Shi So Ta Te To U Va Vi Wa Ya Yu Za Ze",
    "bek cek dar der dez dou gan gar hashi kar kis kov kova kowicz la lin man moto mura nen ni "
    "nko nov novic nyi oglu ota oye pour rai rama ran ri rian ros sani saki shi sky tani tti va "
    "vic wala yama yan",
    5500,
    middles="ba bi ca da di go ha ka ki la le li ma mi na ni ra ri sa si ta ti va",
)
_SPANISH = composed(
    "Al Ar Bal Bel Ber Cal Can Car Cas Cer Col Cor Del Dom Es Fer Flor Gal Gar Gon Gu Her Jim "
    "La Lo Mar Mel Men Mon Mor Nav Or Pal Par Per Qui Ram Rey Ro Ruv Sal San Ser Sol Tor Val "
    "Var Vel Vil Zam Zar",
    "ado ales ano ar aro as edo ela ena era ero es ez illo ines ín ino ito ón ona osa oz ra "
    "rado rera rez ría rona ta tes tínez varo vez vedo zález",
    1500,
)
_PARTICLE_STEMS = composed(
    "Berg Bos Bruin Dijk Dun Graaf Haar Heer Hof Horst Kamp Kerk Laan Linden Meer Mol Pol Rijn "
    "Ros Stam Veen Vel Vries Wal Weg Wold Cruz Fuen Mora Peña Riv Roc Sant Serr Torr Vega Viñ "
    "Luc Mon Font Cham Ross Mart Gall Brun",
    "s en er a es te ing eau as ia i ello ini",
    450,
)
_APOSTROPHE_STEMS = composed(
    "Bran Bri Cal Can Con Cor Dal Don Dris Fal Far Flan Gal Gra Hal Han Har Hig Kee Lea Mal Mar "
    "Mea Nei Rei Rou Shea Sul Tal Too",
    "agan coll dan dell dy gan han igan ity key la lan ley lin lly ly nell ney non ran rey rke "
    "ry se",
    550,
)
_ACCENTED = composed(
    "Bé Ber Bjø Bö Bü Cha Cô Dé Dö Fré Fü Gå Gé Gö Grü Hä Hø Jó Kå Ko Kö Krü La Lé Lö Mé Mo Mö "
    "Mü Ny Pé Pø Rö Sø Sø Ste Szy Thé Trø Wa Wiś Zię",
    "bault bert cki dal dersen dier ensen fer gård gren gui lard lein ler lund mann mański mark "
    "nault neau nicka nier ńska rault reau ring rød rup schütz scher sson strøm trand vist wald "
    "wski ßler",
    900,
)
_FAR_GIVEN = composed(
    "Ad Ai Am An Ar Da De Di El Fa Ha In Ja Ka Ki La Li Ma Mi Na Ni Om Pri Ra Ro Sa Shi So Su "
    "Ta U Va Ya Yu Za",
    "bel bir dev di dra han hil ir ita ja ka kesh khil la lia lin lo mar mi mid min na nav ne "
    "nil nya ra ran rik sha shi tin toy vi ya yan za",
    1000,
)
_ACCENTED_GIVEN = """
Zoë Chloé Renée André René François Hélène Jérôme Björn Søren Håkan Jürgen Günther Łukasz
Małgorzata Agnieszka Zbigniew Łucja Élodie Noémie Mélanie Benoît Gaël Åsa Märta Øyvind Małgosia
Jörg Käthe Ingrid Piotr Anneliese Marta Hedwig Lars Sven Nils Astrid Solène Margot Étienne Loïc
Maëlle Céline Sébastien
"""
_VIETNAMESE = (
    "Nguyễn Trần Lê Phạm Hoàng Phan Vũ Võ Đặng Bùi Đỗ Hồ Ngô Dương Lý Đinh Trịnh Mai Tô Châu"
)
_VIETNAMESE_WEIGHTS = [38, 11, 9.5, 7, 5, 4.5, 3, 2.5, 2.1, 2, 1.4, 1.3, 1.3, 1, 0.5, 0.5, 0.4, 0.4]
_VIETNAMESE_GIVEN = """
Anh Hoa Lan Hương Mai Linh Thủy Hằng Nga Phương Hạnh Dung Yến Thanh Minh Tuấn Hùng Dũng Cường Hải
Long Nam Phong Quang Sơn Thành Tâm Trung Vinh Khánh Đức Bình Hiền Ngọc Trang Thảo Vy Như Quỳnh
Tuyết
"""
_CHINESE = """
Li Wang Chen Zhang Liu Yang Huang Wu Zhao Zhou Xu Sun Ma Zhu Hu Lin Guo He Gao Luo Zheng Liang Xie
Tang Kim Park Choi Jung Kang Cho Yoon Lim Han Shin
"""
_CHINESE_FIRST = "Xiao Jia Mei Yu Zhi Wei Min Hui Jun Li Yan Ying Hong Ming Xue Qing"
_CHINESE_GIVEN = [
    first + second
    for first in _CHINESE_FIRST.split()
    for second in ("", "-na", "-hua", " Ling", " Fang", "-jun", " Hao", " Yan", "lin", "ping")
]
_SOUTH_ASIAN = composed(
    "Pat Sha Sin Kum Gup Red Cha Ba Bha De Gho Jo Kha Kri Ma Me Mu Na Pa Ra Ro Sa Se Tha Var Ver",
    "el gh har ja ma nan nerjee ni ra rma sal shi tra ta thi ya yar kar dhury dy",
    420,
)
# Drawn rank by rank in turn, so that composed and plain names are mixed from the top down.
_PLAIN_FAMILY = [
    name for pair in zip(_TRADES.split(), _ENGLISH, strict=False) for name in pair
] + _ENGLISH[len(_TRADES.split()) :]
_MIXED_FAMILY = _PLAIN_FAMILY[:400] + [
    name for pair in zip(_PLAIN_FAMILY[400:], _FAR_AND_WIDE, strict=False) for name in pair
]

_ENGLISH_FAMILY = Deck(_MIXED_FAMILY, flat=9)
_SPANISH_FAMILY = Deck(_SPANISH, flat=5)
_PARTICLE_FAMILY = Deck(_PARTICLE_STEMS, flat=6)
_APOSTROPHE_FAMILY = Deck(_APOSTROPHE_STEMS, flat=6)
_PARTICLES = (
    *("de", "de la", "del", "de los", "van", "van der", "van den", "von", "la", "le", "da"),
    *("dos", "Al", "El", "St.", "San", "ter"),
)


def _hyphenated(rng: random.Random) -> str:
    return f"{_ENGLISH_FAMILY.draw(rng)}-{_ENGLISH_FAMILY.draw(rng)}"


def _two_family_names(rng: random.Random) -> str:
    first = _SPANISH_FAMILY.draw(rng)
    chance = rng.random()
    if chance < 0.35:
        return first
    return f"{first}{'-' if chance < 0.45 else ' '}{_SPANISH_FAMILY.draw(rng)}"


def _with_particle(rng: random.Random) -> str:
    particle, stem = rng.choice(_PARTICLES), _PARTICLE_FAMILY.draw(rng)
    written = rng.random()
    if written < 0.15:  # registers also hold them as one word: Delacruz, Vandenberg
        return (particle.rstrip(".").replace(" ", "") + stem.lower()).capitalize()
    if written < 0.4:
        particle = particle.title()
    return f"{particle}{'-' if particle in ('Al', 'El') else ' '}{stem}"


def _with_apostrophe(rng: random.Random) -> str:
    stem = _APOSTROPHE_FAMILY.draw(rng)
    return rng.choice(("O'", "O'", "O'", "Mc", "Mac", "D'")) + stem


_GIVEN_WOMEN = Deck([*_WOMEN.split(), *_WOMEN_TAIL])
_GIVEN_MEN = Deck([*_MEN.split(), *_MEN_TAIL])
_WOMEN_ES = Deck([*_SPANISH_WOMEN.split(), *_WOMEN_TAIL[:150]])
_MEN_ES = Deck([*_SPANISH_MEN.split(), *_MEN_TAIL[:100]])
_ACCENTED_BOTH = Deck([*_ACCENTED_GIVEN.split(), *_WOMEN.split()[::3], *_MEN.split()[::3]])
_SOUTH_ASIAN_BOTH = Deck(_FAR_GIVEN, flat=8)
_VIETNAMESE_BOTH = Deck(_VIETNAMESE_GIVEN.split(), flat=8)
_CHINESE_BOTH = Deck(_CHINESE_GIVEN, flat=15)

TRADITIONS = [
    Tradition(0.575, _GIVEN_WOMEN, _GIVEN_MEN, _ENGLISH_FAMILY.draw, 0.12, 0.4),
    Tradition(0.025, _GIVEN_WOMEN, _GIVEN_MEN, _hyphenated, 0.12),
    Tradition(0.165, _WOMEN_ES, _MEN_ES, _two_family_names, 0.35),
    Tradition(
        0.022,
        _VIETNAMESE_BOTH,
        _VIETNAMESE_BOTH,
        Deck(_VIETNAMESE.split()[: len(_VIETNAMESE_WEIGHTS)], weights=_VIETNAMESE_WEIGHTS).draw,
        0.4,
    ),
    Tradition(0.05, _ACCENTED_BOTH, _ACCENTED_BOTH, Deck(_ACCENTED, flat=8).draw, 0.1),
    Tradition(0.045, _GIVEN_WOMEN, _MEN_ES, _with_particle, 0.1),
    Tradition(0.05, _GIVEN_WOMEN, _GIVEN_MEN, _with_apostrophe, 0.12, 0.4),
    Tradition(0.03, _CHINESE_BOTH, _CHINESE_BOTH, Deck(_CHINESE.split(), flat=3).draw, 0.0),
    Tradition(
        0.038, _SOUTH_ASIAN_BOTH, _SOUTH_ASIAN_BOTH, Deck(_SOUTH_ASIAN, flat=7).draw, 0.15, 0.3
    ),
]
_SHARES = list(accumulate(tradition.share for tradition in TRADITIONS))
FEMALE_SHARE = 0.72  # of the patients of weight-loss surgery: common practice, two in three or more

# Letters that decomposition leaves whole.
_WHOLE = str.maketrans(
    {"ł": "l", "ø": "o", "đ": "d", "ı": "i", "Ł": "L", "Ø": "O", "Đ": "D", "æ": "ae", "œ": "oe"}
    | {"ß": "ss"}
)


def without_accents(name: str) -> str:
    """Return the name as it is typed on a keyboard without accents."""
    decomposed = unicodedata.normalize("NFKD", name)
    return "".join(c for c in decomposed if not unicodedata.combining(c)).translate(_WHOLE)


# The plain word and how it is written with accents, for records that hold the plain word only.
ACCENTED_FORMS = {
    plain: word
    for word in (
        *f"{_SPANISH_WOMEN} {_SPANISH_MEN} {_ACCENTED_GIVEN} {_VIETNAMESE}".split(),
        *_VIETNAMESE_GIVEN.split(),
        *_SPANISH,
        *_ACCENTED,
        *_PARTICLE_STEMS,
    )
    if (plain := without_accents(word)) != word
}
PLAIN_RECORD_SHARE = 0.5  # of the people with accents whom the register holds without


def draw_name(rng: random.Random) -> Named:
    """Return the name of one more invented person, as a register would hold it."""
    which = min(bisect(_SHARES, rng.random()), len(TRADITIONS) - 1)
    tradition = TRADITIONS[which]
    female = rng.random() < FEMALE_SHARE
    named = Named(tradition.given(rng, female), tradition.family(rng), female, which)
    whole = named.given + named.family
    if not whole.isascii() and rng.random() < PLAIN_RECORD_SHARE:
        return named._replace(
            given=without_accents(named.given), family=without_accents(named.family)
        )
    return named
