"""TOML files, read and checked by the classes of their tables; how what is refused is worded."""

from __future__ import annotations

import json
import tomllib
from difflib import get_close_matches
from typing import TYPE_CHECKING, Any, TypeVar

from pydantic import BaseModel, ValidationError

from dewmargin.errors import InputError, OutputError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

MAX_BYTES = 1_000_000
LONGEST_SHOWN = 80

Model = TypeVar("Model", bound=BaseModel)


def read(path: Path, what: str) -> bytes:
    """Return a file of at most 1 MB; `what` it should be.

    Raises
    ------
    InputError
        If it cannot be read.
    """
    try:
        size = path.stat().st_size
        if not path.is_file():
            raise InputError("is not a file", file=path)
        if size > MAX_BYTES:
            raise InputError("is larger than 1 MB", file=path, hint=f"is it {what}?")
        return path.read_bytes()
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror}", file=path) from error
    except ValueError as error:  # a NUL in the name
        raise InputError(f"cannot be read: {error}", file=path) from error


def document(raw: bytes, path: Path) -> dict[str, Any]:
    """Return the tables of a TOML text.

    Raises
    ------
    InputError
        If it is none.
    """
    try:
        return tomllib.loads(raw.decode("utf-8-sig"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError, ValueError) as error:
        raise InputError(f"is not valid TOML: {error}", file=path) from error


def quoted(text: str) -> str:
    """Return a text as TOML writes it: JSON's escapes, and one that JSON does not have."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def write_new(path: Path, text: str, *, do: str) -> None:
    """Write a file that is not there yet: an edited one must not be lost; `do` what else.

    Raises
    ------
    OutputError
        If it is there already, or cannot be written.
    """
    try:
        with path.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except FileExistsError as error:
        raise OutputError(f"{path}: exists already ({do}, or choose another name)") from error
    except OSError as error:
        raise OutputError(f"{path}: cannot be written: {error.strerror}") from error


def checked(
    model: type[Model], data: object, path: Path, where: str, *, beside: Sequence[str] = ()
) -> Model:
    """Validate, and turn the first complaint into our own sentence.

    `beside` are keys of the same table that another class checks.
    """
    try:
        return model.model_validate(data)
    except ValidationError as problems:
        # A list whose items are refused is not too short on top of that.
        errors = [
            e
            for e in problems.errors(include_url=False)
            if e["type"] != "too_short" or len(e["input"]) < e["ctx"]["min_length"]
        ]
        # An unknown key explains a missing one: name it first.
        first = min(errors, key=lambda e: e["type"] != "extra_forbidden")
        what, hint = _sentence(first, model, beside)
        if len(errors) > 1:
            what += f"; {len(errors) - 1} more after this"
        raise InputError(
            what, file=path, where=_key(where, first["loc"]) or None, hint=hint
        ) from problems


def changed(model: Model, changes: Mapping[tuple[str, ...], Any], path: Path, where: str) -> Model:
    """Return an input object made anew, so that nothing of it is left from before the change.

    `changes` are by key, of a table within a table by both.
    """
    data = {name: getattr(model, name) for name in model.model_fields_set}
    inner: dict[str, dict[tuple[str, ...], Any]] = {}
    for (first, *rest), value in changes.items():
        if rest:
            inner.setdefault(first, {})[tuple(rest)] = value
        else:
            data[first] = value
    for first, deeper in inner.items():
        data[first] = changed(getattr(model, first), deeper, path, f"{where}.{first}")
    return checked(type(model), data, path, where)


def _key(where: str, loc: tuple[int | str, ...]) -> str:
    key = where
    for part in loc:
        key += f"[{part}]" if isinstance(part, int) else f".{part}" if key else str(part)
    return key


_BOUNDS = {
    "greater_than": ("above", "gt"),
    "greater_than_equal": ("at least", "ge"),
    "less_than": ("below", "lt"),
    "less_than_equal": ("at most", "le"),
}
_KINDS = {
    "float": "a number",
    "int": "a whole number",
    "string": "a text",
    "bool": "true or false",
    "list": "a list",
    "tuple": "a list",
    "dict": "a table",
    "model": "a table",
    "date": "a date without quotes, such as 2026-11-20",
}


def _sentence(  # noqa: PLR0911 - one return a kind of error
    error: Any,  # noqa: ANN401 - pydantic's error
    model: type[BaseModel],
    beside: Sequence[str],
) -> tuple[str, str | None]:
    """Return what is wrong, and what to do about it."""
    kind, found, context = error["type"], error["input"], error.get("ctx", {})
    if kind == "extra_forbidden":
        above = error["loc"][:-1]
        known = [*_model_at(model, above).model_fields, *(() if above else beside)]
        near = get_close_matches(str(error["loc"][-1]), known, n=1)
        keys = f"keys here: {', '.join(known)}"
        return "is not a key of this table", f"did you mean {near[0]!r}?" if near else keys
    if kind == "missing":
        return "is missing", None
    if kind in _BOUNDS:
        word, bound = _BOUNDS[kind]
        limit = context[bound]
        per_cent = limit == 1.0 and isinstance(found, (int, float)) and 1.0 < found <= 100.0  # noqa: PLR2004
        hint = f"fractions run from 0 to 1: did you mean {found / 100:g}?" if per_cent else None
        return f"must be {word} {limit:g}, got {_short(found)}", hint
    if kind == "literal_error":
        return f"must be {context['expected']}, got {_short(found)}", None
    if kind == "value_error":
        return str(context["error"]), None
    if kind == "too_long":
        return f"must have at most {context['max_length']} values, got {_short(found)}", None
    if kind in ("too_short", "string_too_short"):
        return "must not be empty", None
    if kind == "finite_number":
        return f"must be a finite number, got {found}", None
    if kind.partition("_")[0] in _KINDS:
        return f"must be {_KINDS[kind.partition('_')[0]]}, got {_short(found)}", None
    return f"{error['msg']}, got {_short(found)}", None


def _short(found: object) -> str:
    """Return a value as a message shows it."""
    if isinstance(found, float):
        return f"{found:g}"
    text = repr(found)
    return text if len(text) <= LONGEST_SHOWN else f"{text[:LONGEST_SHOWN]}…"


def _model_at(model: type[BaseModel], loc: tuple[int | str, ...]) -> type[BaseModel]:
    """Return the class that checks the table at a place below `model`."""
    for part in loc:
        if isinstance(part, str) and part in model.model_fields:
            inner = _inner_model(model.model_fields[part].annotation)
            model = inner or model
    return model


def _inner_model(annotation: object) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for argument in getattr(annotation, "__args__", ()):
        if (found := _inner_model(argument)) is not None:
            return found
    return None
