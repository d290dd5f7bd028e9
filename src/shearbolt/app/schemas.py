"""JSON Schema (draft 2020-12) of each document, made from its type.

`python -m shearbolt.app.schemas docs/schemas` writes one file a document; with `--check` it writes
nothing and exits 1 when a file there is not what it would write.
"""

from __future__ import annotations

import ast
import inspect
import itertools
import json
import sys
import types
from functools import cache
from pathlib import Path
from typing import (
    Annotated,
    Any,
    Literal,
    Union,
    get_args,
    get_origin,
    get_type_hints,
    is_typeddict,
)

from shearbolt.app.documents import DOCUMENTS
from shearbolt.app.documents.values import Shape

Schema = dict[str, Any]
_PLAIN: dict[object, str] = {
    str: "string",
    int: "integer",
    float: "number",
    bool: "boolean",
    type(None): "null",
}


def schema_of(name: str, *, closed: bool = False) -> Schema:
    """Make the JSON Schema of the document `name`, a key of DOCUMENTS.

    With `closed`, fields that are not listed are refused (for tests of our own output; readers
    must allow new fields). Raises KeyError for an unknown name.
    """
    maker = _Maker(closed)
    body = maker.object_schema(DOCUMENTS[name])
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": f"shearbolt/{name}/1",
        "title": f"shearbolt/{name}/1",
        **body,
        "$defs": dict(sorted(maker.definitions.items())),
    }


def schema_text(name: str) -> str:
    """Write the schema of a document as the text of its published file."""
    return json.dumps(schema_of(name), indent=2, ensure_ascii=False) + "\n"


class _Maker:
    """Turns types into schemas, gathering each typed dictionary once under `$defs`."""

    def __init__(self, closed: bool) -> None:
        self.closed = closed
        self.definitions: dict[str, Schema] = {}

    def object_schema(self, kind: type) -> Schema:
        """Make the schema of a typed dictionary itself: every field is required."""
        hints = get_type_hints(kind, include_extras=True)
        # `schema` comes first wherever there is one, as it does in the output.
        keys = sorted(hints, key=lambda key: key != "schema")
        words = _field_words(kind)
        properties: Schema = {}
        for key in keys:
            field = self.schema(hints[key])
            if key in words:
                # A field's own line says more than the shared type's.
                field = {**field, "description": words[key]}
            properties[key] = field
        made: Schema = {
            "description": (inspect.getdoc(kind) or "").strip(),
            "type": "object",
            "properties": properties,
            "required": keys,
        }
        if self.closed:
            made["additionalProperties"] = False
        return made

    def schema(self, hint: Any) -> Schema:
        """Make the schema of any type that the documents use; raises TypeError for others."""
        origin = get_origin(hint)
        if hint in _PLAIN:
            return {"type": _PLAIN[hint]}
        if origin is Annotated:
            inner, shape = get_args(hint)
            return _shaped(self.schema(inner), shape)
        if origin is Literal:
            choices = list(get_args(hint))
            return {"const": choices[0]} if len(choices) == 1 else {"enum": choices}
        if origin is list:
            return {"type": "array", "items": self.schema(get_args(hint)[0])}
        if origin in (Union, types.UnionType):
            return self._either(get_args(hint))
        if is_typeddict(hint):
            return self._reference(hint)
        raise TypeError(f"documents do not use the type {hint!r}")

    def _either(self, kinds: tuple[Any, ...]) -> Schema:
        parts = [self.schema(kind) for kind in kinds]
        if all(set(part) == {"type"} for part in parts):
            return {"type": [part["type"] for part in parts]}
        if len(parts) == 2 and "enum" in parts[0] and parts[1] == {"type": "null"}:
            return {"enum": [*parts[0]["enum"], None]}
        return {"anyOf": parts}

    def _reference(self, kind: type) -> Schema:
        name = kind.__name__
        if name not in self.definitions:
            self.definitions[name] = {}
            self.definitions[name] = self.object_schema(kind)
        return {"$ref": f"#/$defs/{name}"}


def _shaped(made: Schema, shape: Shape) -> Schema:
    """Add what a Shape says; bounds concern numbers only, so null stays allowed beside them."""
    made = dict(made)
    if shape.words:
        made["description"] = shape.words
    if shape.pattern is not None:
        made["pattern"] = shape.pattern
    if shape.minimum is not None:
        made["minimum"] = shape.minimum
    if shape.maximum is not None:
        made["maximum"] = shape.maximum
    return made


@cache
def _field_words(kind: type) -> dict[str, str]:
    """Find the line under each field, in the class and the typed dictionaries it builds on."""
    node = _classes_of(kind.__module__).get(kind.__name__)
    if node is None:
        return {}
    found: dict[str, str] = {}
    # A typed dictionary forgets its bases at run time, so they are read where they are written.
    for name in node.bases:
        base = getattr(sys.modules[kind.__module__], ast.unparse(name), None)
        if is_typeddict(base):
            found |= _field_words(base)
    for field, line in itertools.pairwise(node.body):
        if (
            isinstance(field, ast.AnnAssign)
            and isinstance(field.target, ast.Name)
            and isinstance(line, ast.Expr)
            and isinstance(line.value, ast.Constant)
            and isinstance(line.value.value, str)
        ):
            found[field.target.id] = line.value.value.strip()
    return found


@cache
def _classes_of(module: str) -> dict[str, ast.ClassDef]:
    tree = ast.parse(inspect.getsource(sys.modules[module]))
    return {node.name: node for node in tree.body if isinstance(node, ast.ClassDef)}


def main(arguments: list[str]) -> int:
    """Write or check the files of a folder; give the exit status."""
    check = "--check" in arguments
    folders = [Path(one) for one in arguments if one != "--check"]
    if len(folders) != 1:
        print("usage: python -m shearbolt.app.schemas [--check] FOLDER", file=sys.stderr)
        return 2
    stale = 0
    if not check:
        folders[0].mkdir(parents=True, exist_ok=True)
    for name in sorted(DOCUMENTS):
        path = folders[0] / f"{name}.json"
        text = schema_text(name)
        if check:
            if not path.exists() or path.read_text(encoding="utf-8") != text:
                print(f"{path} is not up to date", file=sys.stderr)
                stale = 1
        else:
            path.write_text(text, encoding="utf-8", newline="\n")
    return stale


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
