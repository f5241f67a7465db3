"""Which column of a schedule is which?  Read from the header, in any order, case and spelling."""

import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from patients.rules.schedule_reasons import NotASchedule, Refusal


class Column(StrEnum):
    MRN = "mrn"
    FAMILY_NAMES = "family_names"
    GIVEN_NAMES = "given_names"
    FULL_NAME = "full_name"
    BIRTH_DATE = "birth_date"
    EMAIL = "email"
    PHONE = "phone"
    LANGUAGE = "language"
    CASE_NUMBER = "case_number"
    PROCEDURE = "procedure"
    PROCEDURE_CODE = "procedure_code"
    SURGEON = "surgeon"
    FACILITY = "facility"
    OR_DATE = "or_date"
    STATUS = "status"


# Without blanks, signs and accents. The first that is found wins: a file with both "MRN" and
# "Patient ID" means the first by MRN. Common practice, English and Spanish.
_SPELLINGS: Mapping[Column, str] = {
    Column.MRN: (
        "mrn medicalrecordnumber medicalrecordno medicalrecord medrecno medrec mrnumber mrno "
        "patientmrn recordnumber chartnumber chartno patientid patientnumber patientno "
        "hospitalnumber numerodehistoria numerodehistoriaclinica expediente"
    ),
    Column.FAMILY_NAMES: (
        "familynames familyname lastname lastnames surname surnames patientlastname "
        "patientfamilyname patientsurname namelast last lname apellidos apellido"
    ),
    Column.GIVEN_NAMES: (
        "givennames givenname firstname firstnames forename forenames patientfirstname "
        "patientgivenname namefirst first fname nombres nombre"
    ),
    Column.FULL_NAME: "patientname fullname patientfullname patient name nombrecompleto paciente",
    Column.BIRTH_DATE: (
        "dateofbirth birthdate dob birthday patientdob patientdateofbirth patientbirthdate "
        "datebirth born fechadenacimiento fechanacimiento"
    ),
    Column.EMAIL: (
        "email emailaddress patientemail patientemailaddress mail correo correoelectronico"
    ),
    Column.PHONE: (
        "phone phonenumber mobile mobilephone cellphone cell homephone patientphone telephone tel "
        "telefono"
    ),
    Column.LANGUAGE: "language preferredlanguage patientlanguage lang idioma",
    Column.CASE_NUMBER: (
        "casenumber caseno caseid case surgicalcasenumber surgerycasenumber casenum surgicalcaseid "
        "logid bookingnumber bookingid numerodecaso"
    ),
    Column.PROCEDURE: (
        "procedure procedurename primaryprocedure proceduredescription scheduledprocedure "
        "operation surgery procedimiento"
    ),
    Column.PROCEDURE_CODE: "procedurecode proccode operationcode codigodeprocedimiento",
    Column.SURGEON: "surgeon primarysurgeon surgeonname attendingsurgeon cirujano",
    Column.FACILITY: "facility location hospital site campus orlocation surgerylocation sede",
    Column.OR_DATE: (
        "ordate dateofsurgery surgerydate operationdate dateofoperation proceduredate "
        "dateofprocedure scheduleddate scheduledate casedate surgdate date fechadecirugia "
        "fechadeoperacion fecha"
    ),
    Column.STATUS: (
        "status booking bookingstatus casestatus schedulestatus schedulingstatus surgerystatus "
        "estado"
    ),
}
SPELLINGS = {column: tuple(words.split()) for column, words in _SPELLINGS.items()}

# The columns that a file of rejected rows has in front; they are passed over when it comes back.
NOTES = ("Rejected line", "Rejected column", "Rejected reason", "Rejected fix")

# What each column is called where somebody chooses it.
NAMES: Mapping[Column, str] = {
    Column.MRN: "MRN",
    Column.FAMILY_NAMES: "last name",
    Column.GIVEN_NAMES: "first name",
    Column.FULL_NAME: "whole name: LAST, FIRST",
    Column.BIRTH_DATE: "date of birth",
    Column.PROCEDURE: "procedure",
    Column.PROCEDURE_CODE: "procedure code",
    Column.OR_DATE: "OR date",
    Column.CASE_NUMBER: "case number",
    Column.STATUS: "status",
    Column.SURGEON: "surgeon",
    Column.FACILITY: "facility",
    Column.EMAIL: "email",
    Column.PHONE: "phone",
    Column.LANGUAGE: "language",
}
WORDS: Mapping[Column, str] = {
    Column.MRN: "MRN",
    Column.FULL_NAME: "last name and first name (or one column with LAST, FIRST)",
    Column.BIRTH_DATE: "date of birth",
    Column.PROCEDURE: "procedure",
    Column.OR_DATE: "OR date",
}


@dataclass(frozen=True)
class Header:
    """Where each known column stands, and the headings that mean nothing here."""

    places: Mapping[Column, int]
    unused: tuple[str, ...]
    twice: tuple[str, ...]

    @property
    def missing(self) -> tuple[Column, ...]:
        """The needed columns that are not there."""
        has = set(self.places)
        named = Column.FULL_NAME in has or {Column.FAMILY_NAMES, Column.GIVEN_NAMES} <= has
        lacking = {Column.MRN, Column.BIRTH_DATE, Column.OR_DATE} - has
        if not named:
            lacking.add(Column.FULL_NAME)
        if not has & {Column.PROCEDURE, Column.PROCEDURE_CODE}:
            lacking.add(Column.PROCEDURE)
        return tuple(column for column in WORDS if column in lacking)


def plain(heading: str) -> str:
    """Return a heading in small letters without blanks, signs and accents."""
    letters = unicodedata.normalize("NFKD", heading.casefold())
    return "".join(char for char in letters if char.isalnum())


NOTES_PLAIN = frozenset(plain(note) for note in NOTES)


def recognise(headings: Sequence[str]) -> Header:
    """Find the known columns among the headings of a file."""
    written = [plain(heading) for heading in headings]
    places: dict[Column, int] = {}
    twice: list[str] = []
    for column, spellings in SPELLINGS.items():
        spelling = next((s for s in spellings if s in written), None)
        if spelling is None:
            continue
        places[column] = written.index(spelling)
        if written.count(spelling) > 1:
            twice.append(headings[places[column]])
    used = set(places.values())
    unused = tuple(
        heading
        for place, heading in enumerate(headings)
        if place not in used and heading.strip() and written[place] not in NOTES_PLAIN
    )
    return Header(places, unused, tuple(twice))


def must_be_complete(header: Header, headings: Sequence[str], line: int) -> None:
    """Raise NotASchedule when a needed column is missing or stands there twice."""
    if header.missing:
        raise NotASchedule(
            Refusal.COLUMNS_MISSING,
            missing="; ".join(WORDS[column] for column in header.missing),
            found=", ".join(heading.strip() for heading in headings if heading.strip())[:300],
            line=line,
        )
    if header.twice:
        raise NotASchedule(Refusal.COLUMN_TWICE, column=header.twice[0], line=line)
