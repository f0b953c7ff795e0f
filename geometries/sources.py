"""Where numbers come from: a mark on the field that holds them, not a part of its description."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, TypeVar

from pydantic import BaseModel, GetJsonSchemaHandler
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema


@dataclass(frozen=True)
class Source:
    """Where a number comes from; in a JSON Schema it stands under ``source``.

    Parameters
    ----------
    words : str
        As a reader is told it.
    is_published : bool
        Whether it names a publication.
    """

    words: str
    is_published: bool = True

    def after(self, text: str) -> str:
        """A text with the source in brackets before its full stop."""
        return f"{text.removesuffix('.')} ({self.words})."

    def __get_pydantic_json_schema__(
        self, core_schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        return handler(core_schema) | {"source": self.words}


T = TypeVar("T")
FromMemory = Annotated[T, Source("from memory", is_published=False)]  # none was read
Chosen = Annotated[T, Source("chosen for this model", is_published=False)]
Practice = Annotated[T, Source("common practice, no source", is_published=False)]


def source_of(model: type[BaseModel], key: str) -> Source | None:
    """Where the numbers of a field come from; None where it says nothing."""
    marks = model.model_fields[key].metadata
    return next((mark for mark in marks if isinstance(mark, Source)), None)
