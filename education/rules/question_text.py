"""Read the questions of a module's file.

What a field means stands with the values (`module_parts.py`), what makes a question impossible to
ask or to score in `question_problems.py`, and the format for writers in `manage.py publish --help`.
"""

from collections.abc import Collection
from dataclasses import replace

from education.rules.module_parts import OptionText, QuestionText
from education.rules.question_problems import question_problems
from education.rules.scoring import CHOICES, Kind
from education.rules.toml_fields import Fields, Record, Where, name

_COMMON = frozenset({"kind", "safety_critical", "section", "stem", "explanation", "teach_back"})
_OWN = {
    **dict.fromkeys(CHOICES, frozenset({"option", "shuffle"})),
    Kind.NUMBER: frozenset({"unit", "answer", "tolerance"}),
    Kind.ORDER: frozenset({"item"}),
    Kind.MATCH: frozenset({"pair"}),
}


def read_question(
    fields: Fields, record: Record, number: int, sections: Collection[str]
) -> QuestionText:
    """Read one question with its versions; what is wrong with it is added to the problems."""
    where = name("Question", record, number)
    before = len(fields.problems)
    kind = _kind(fields, record, where)
    _check_fields(fields, record, _COMMON | {"key", "version"}, kind, where)
    question = QuestionText(
        key=fields.slug(record, "key", where),
        kind=kind or Kind.ONE,
        safety_critical=fields.yes_or_no(record, "safety_critical", where),
        section=_section(fields, record, sections, where),
        stem=fields.words(record, "stem", where),
        explanation=fields.words(record, "explanation", where),
        teach_back=fields.words_if_any(record, "teach_back", where),
    )
    if kind is not None:
        question = _with_answers(fields, record, question, where)
        if "version" in record:
            written = enumerate(fields.tables(record, "version", where), start=2)
            versions = (_version(fields, one, place, question, sections) for place, one in written)
            question = replace(question, versions=tuple(versions))
    if len(fields.problems) == before:
        for problem in question_problems(question):
            told = where if problem.version == 1 else _version_name(question.key, problem.version)
            fields.add(told, problem.field, problem.message)
    return question


def _version(
    fields: Fields, record: Record, number: int, question: QuestionText, sections: Collection[str]
) -> QuestionText:
    """Read another version; what it does not say it has from the question."""
    where = _version_name(question.key, number)
    kind = _kind(fields, record, where) if "kind" in record else question.kind
    _check_fields(fields, record, _COMMON, kind, where)
    version = replace(
        question,
        kind=kind or question.kind,
        stem=fields.words(record, "stem", where),
        options=(),
        shuffle=False,
    )
    if "safety_critical" in record:
        marked = fields.yes_or_no(record, "safety_critical", where)
        version = replace(version, safety_critical=marked)
    if "section" in record:
        version = replace(version, section=_section(fields, record, sections, where))
    if "explanation" in record:
        version = replace(version, explanation=fields.words(record, "explanation", where))
    if "teach_back" in record:
        version = replace(version, teach_back=fields.words(record, "teach_back", where))
    return version if kind is None else _with_answers(fields, record, version, where)


def _version_name(question: str, number: int) -> Where:
    return Where(f'Question "{question}", version {number}', f"v{number}-")


def _with_answers(
    fields: Fields, record: Record, question: QuestionText, where: Where
) -> QuestionText:
    """Return a question with what its kind has beside the stem."""
    if question.kind is Kind.NUMBER:
        return replace(
            question,
            unit=fields.words(record, "unit", where),
            answer=fields.decimal(record, "answer", where),
            tolerance=fields.decimal(record, "tolerance", where),
        )
    what = {Kind.ORDER: "item", Kind.MATCH: "pair"}.get(question.kind, "option")
    options = tuple(
        _option(
            fields,
            entry,
            question.kind,
            Where(f"{where}, {name(what, entry, number)}", f"{where.path}{what}-{number}-"),
        )
        for number, entry in enumerate(fields.tables(record, what, where), start=1)
    )
    fields.check_unique([option.key for option in options], f"{what}s", where)
    shuffle = "shuffle" in record and fields.yes_or_no(record, "shuffle", where)
    return replace(question, options=options, shuffle=shuffle)


def _option(fields: Fields, record: Record, kind: Kind, where: Where) -> OptionText:
    own = {Kind.ORDER: "place", Kind.MATCH: "match"}.get(kind, "right")
    fields.check_known(record, {"key", "text", own}, where)
    option = OptionText(fields.slug(record, "key", where), fields.words(record, "text", where))
    if kind is Kind.ORDER:
        return replace(option, right=True, place=fields.whole_number(record, "place", where))
    if kind is Kind.MATCH:
        return replace(option, right=True, match=fields.words(record, "match", where))
    return replace(option, right=fields.yes_or_no(record, "right", where))


def _kind(fields: Fields, record: Record, where: Where) -> Kind | None:
    value = fields.string(record, "kind", where)
    if value in list(Kind):
        return Kind(value)
    if value:
        known = ", ".join(Kind)
        fields.add(where, "kind", f'unknown kind "{value}"; known are {known}.')
    return None


def _section(fields: Fields, record: Record, sections: Collection[str], where: Where) -> str:
    section = fields.string(record, "section", where)
    if section and section not in sections:
        fields.add(where, "section", f'"section" points to "{section}", which is no section.')
    return section


def _check_fields(
    fields: Fields, record: Record, common: frozenset[str], kind: Kind | None, where: Where
) -> None:
    # With an unknown kind nobody can say which fields belong: the kind alone is reported.
    own = frozenset().union(*_OWN.values()) if kind is None else _OWN[kind]
    fields.check_known(record, common | own, where)
