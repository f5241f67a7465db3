"""Everybody in the demo: staff and patients, all invented.

Telephone numbers are from the range that is kept for fiction (555-0100 to 555-0199), addresses
under example.org, which RFC 2606 reserves.
"""

from dataclasses import dataclass
from datetime import date

from clinic.models import Role

PROGRAMME = "Thistle Fork Weight Surgery Programme"
TIME_ZONE = "America/Denver"
PHONE = "303-555-0100"
FACILITY = "Thistle Fork Hospital"
PASSWORD = "sunday-soup-pot"

# Role, name, email.
STAFF = (
    (Role.DIETITIAN, "Imogen Tallis", "dietitian@thistlefork.example"),
    (Role.CLINICIAN, "Dr. Priscilla Onwuachi", "clinician@thistlefork.example"),
    (Role.COORDINATOR, "Teodoro Valdespino", "coordinator@thistlefork.example"),
    (Role.ADMINISTRATOR, "Henrike Lindqvist", "administrator@thistlefork.example"),
    (Role.AUDITOR, "Casimir Boateng", "auditor@thistlefork.example"),
)

SLEEVE, BYPASS, REVISION = "SLEEVE", "RYGB", "REVISION"
# Code and name, as the schedule prints them.
PROCEDURES = (
    (SLEEVE, "Sleeve gastrectomy"),
    (BYPASS, "Gastric bypass, Roux-en-Y"),
    (REVISION, "Revision of earlier weight surgery"),
)

SURGEONS = ("Anneliese Brandvold", "Kofi Darkwah", "Solveig Marchetti")


@dataclass(frozen=True)
class Person:
    """A patient; `or_day` is the OR date in days from the demo's day, None without a date."""

    mrn: str
    given: str
    family: str
    birth: str
    language: str
    procedure: str
    or_day: int | None
    email: str

    @property
    def birth_date(self) -> date:
        return date.fromisoformat(self.birth)

    @property
    def number(self) -> int:
        """Their place in the list: surgeon, telephone and case number hang on it."""
        return int(self.mrn[-2:])

    @property
    def phone(self) -> str:
        return f"303-555-01{self.number:02}"

    @property
    def surgeon(self) -> str:
        return SURGEONS[self.number % len(SURGEONS)]

    @property
    def case_number(self) -> str:
        return f"C-{70400 + 3 * self.number}"


# MRN's end, given names, family names, birth, language, procedure, OR day, address before the @.
ROWS: tuple[tuple[int, str, str, str, str, str, int | None, str], ...] = (
    # Those with a part of their own in story.py.
    (1, "Delphine", "Arceneaux-Whitby", "1974-03-12", "en", SLEEVE, 26, "delphine.aw"),
    (2, "Ignatius", "Obuya", "1981-09-30", "en", BYPASS, 9, "i.obuya"),
    (3, "Marisela", "Fuentes de León", "1969-12-01", "es", SLEEVE, 10, "marisela.fuentes"),
    (4, "Cordell", "Hathersage", "1988-06-17", "en", SLEEVE, 11, "cordell.h"),
    (5, "Rosario", "Ibáñez Quintero", "1977-02-28", "es", BYPASS, 12, "rosario.ibanez"),
    (6, "Tamsin", "Vance", "1993-07-04", "en", SLEEVE, 21, "tamsin.vance"),
    (7, "Everett", "N'Diaye", "1985-11-23", "en", REVISION, 17, "everett.ndiaye"),
    (8, "Lupita", "Zamora", "1990-01-19", "es", SLEEVE, 18, "lupita.zamora"),
    (9, "Harlan", "Dvořáček", "1966-08-08", "en", BYPASS, 13, "harlan.d"),
    (10, "Concepción", "Barragán", "1959-10-15", "es", SLEEVE, 15, "c.barragan"),
    (11, "Philippa", "Strand", "1979-04-26", "en", BYPASS, 12, "philippa.strand"),
    (12, "Ezequiel", "Montoya", "1972-05-05", "es", SLEEVE, 19, "ezequiel.m"),
    (13, "Wulandari", "", "1987-03-03", "en", SLEEVE, 8, "wulandari"),
    (14, "Josephine", "Kallistratos", "1964-09-09", "en", BYPASS, 22, "jo.kallistratos"),
    (15, "Dermot", "O'Shaughnessy", "1982-12-20", "en", SLEEVE, 30, "dermot.os"),
    (16, "Yolanda", "Peralta", "1975-06-11", "es", BYPASS, None, "yolanda.peralta"),
    (17, "Ruthanne", "Ogletree", "1957-01-31", "en", SLEEVE, 14, ""),
    (18, "Amara", "Nwosu", "1992-10-10", "en", SLEEVE, 16, "amara.nwosu"),
    (19, "Adaeze", "Nwosu", "1992-10-10", "en", SLEEVE, 45, "adaeze.nwosu"),
    (20, "María", "González", "1968-05-14", "es", BYPASS, 20, "maria.gonzalez.68"),
    (21, "Maria", "Gonzalez", "1991-11-02", "en", SLEEVE, 22, "mgonzalez91"),
    (22, "Saoirse", "McGillicuddy", "1986-04-14", "en", SLEEVE, 17, "saoirse"),
    (23, "Bartholomew", "Quansah", "1971-07-27", "en", BYPASS, 23, "b.quansah"),
    (24, "Lorenzo", "Abeyta", "1965-02-14", "es", SLEEVE, 20, "abeyta.family"),
    (25, "Pilar", "Abeyta", "1967-08-21", "es", SLEEVE, 24, "abeyta.family"),
    (26, "Clementine", "van der Zwaag", "1983-03-29", "en", BYPASS, 16, "clementine.vdz"),
    (27, "René-Luc", "Tshibanda", "1979-04-03", "en", SLEEVE, 27, "renetshibanda"),
    (28, "Lucie", "Tshibanda", "1981-01-16", "en", SLEEVE, 13, "lucie.t"),
    (29, "Winifred", "Castellanos", "1962-11-11", "en", BYPASS, 12, "winifred.c"),
    (30, "Thaddeus", "Brightwater", "1976-05-22", "en", SLEEVE, 4, "thaddeus.b"),
    (31, "Oluwaseun", "Adebayo-Finch", "1989-09-01", "en", BYPASS, 9, "seun.af"),
    (32, "Gwendolyn", "Szymańska", "1970-12-12", "en", SLEEVE, -2, "gwen.szymanska"),
    (33, "Abundio", "Trujillo Rael", "1958-07-07", "es", REVISION, 33, "abundio.trujillo"),
    (34, "Katarzyna", "Łukasiewicz", "1984-02-02", "en", SLEEVE, 13, "kasia.l"),
    (35, "Esperanza", "Villaseñor", "1953-03-25", "es", SLEEVE, 21, ""),
    # Those with whom everything goes its usual way.
    (36, "Søren", "Ægidius", "1978-08-16", "en", SLEEVE, -40, "soren.ae"),
    (37, "Guadalupe", "Ortiz y Sandoval", "1973-04-09", "es", BYPASS, -36, "lupe.ortiz"),
    (38, "Mehmet", "Yıldırım", "1980-10-28", "en", SLEEVE, -31, "m.yildirim"),
    (39, "Charmaine", "Delacroix", "1967-06-30", "en", BYPASS, -26, "charmaine.d"),
    (40, "Xóchitl", "Ramírez", "1994-12-05", "es", SLEEVE, -19, "xochitl.r"),
    (41, "Robert Allen", "Whitlock Jr.", "1961-01-08", "en", REVISION, -15, "ra.whitlock"),
    (42, "Nguyễn Thị", "Bích", "1988-02-18", "en", SLEEVE, -11, "bich.nguyen"),
    (43, "Fernanda", "Echeverría", "1985-05-31", "es", BYPASS, -6, "fer.echeverria"),
    (44, "Siobhán", "Ní Dhomhnaill", "1977-09-19", "en", SLEEVE, 1, "siobhan.nd"),
    (45, "Aurelio", "Baca", "1960-04-01", "es", SLEEVE, 3, "aurelio.baca"),
    (46, "Hana", "高橋", "1991-06-06", "en", SLEEVE, 6, "hana.takahashi"),
    (47, "Quentin", "D’Angelo", "1974-10-02", "en", BYPASS, 8, "q.dangelo"),
    (48, "Itzel", "Cárdenas", "1996-03-17", "es", SLEEVE, 14, "itzel.cardenas"),
    (49, "Bjørn", "Thórsson", "1963-12-29", "en", REVISION, 18, "bjorn.t"),
    (50, "J. P.", "Okafor", "1982-08-24", "en", SLEEVE, 25, "jp.okafor"),
    (51, "Remedios", "de la Cruz", "1971-01-20", "es", BYPASS, 29, "remedios.dlc"),
    (52, "Layla", "حداد", "1987-07-13", "en", SLEEVE, 35, "layla.haddad"),
    (53, "Montgomery", "Ashgrove-Pell", "1968-11-04", "en", SLEEVE, 41, "monty.ap"),
    (54, "Estela", "Nuñez", "1979-02-07", "es", SLEEVE, 48, "estela.nunez"),
    (55, "Zoë", "Hargreaves", "1995-05-12", "en", BYPASS, 54, "zoe.hargreaves"),
    (56, "Evaristo", "Lucero", "1956-09-26", "es", SLEEVE, 61, "evaristo.lucero"),
    (57, "Ottoline", "Pemberwick", "1984-06-03", "en", SLEEVE, 68, "ottoline.p"),
    (58, "Chukwuemeka", "Eze", "1990-08-31", "en", BYPASS, 75, "emeka.eze"),
    (59, "Milagros", "Herrera", "1975-12-16", "es", SLEEVE, 83, "milagros.h"),
    (60, "Anouk", "Bell", "1989-04-22", "en", SLEEVE, 90, "anouk.bell"),
    (61, "Primitivo", "Chávez", "1962-02-11", "es", BYPASS, 96, "primitivo.chavez"),
    (62, "Linnea", "Å", "1993-10-27", "en", SLEEVE, 100, "linnea.a"),
    # Ottoline Pemberwick a second time: 63, 64 and 71 to 74 are in the schedule that is left.
    (65, "Ottoline", "Pemberwyck", "1984-06-03", "en", SLEEVE, 68, "o.pemberwyck"),
)

PEOPLE = tuple(
    Person(
        f"TF-301{number:02}",
        given,
        family,
        birth,
        language,
        procedure,
        or_day,
        f"{mailbox}@example.org" if mailbox else "",
    )
    for number, given, family, birth, language, procedure, or_day, mailbox in ROWS
)
BY_MRN = {person.mrn: person for person in PEOPLE}
