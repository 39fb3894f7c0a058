"""What a field of a file may hold, said at the field: markers beside those of `annotated_types`."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Annotated, Any, get_args

from annotated_types import Interval, Len


@dataclass(frozen=True)
class Says:
    """Words for what a field holds, in messages and in the schema, and the pattern a text must show."""

    words: str
    pattern: str | None = None

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> Any:
        """Add the pattern to what is checked."""
        return handler(source) | ({"pattern": self.pattern} if self.pattern else {})

    def __get_pydantic_json_schema__(self, core: Any, handler: Any) -> Any:
        """Add the words to the schema."""
        return handler(core) | {"description": self.words}


@dataclass(frozen=True)
class Among:
    """The only values that a whole number may have."""

    values: tuple[int, ...]

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> Any:
        """Check a whole number against the values."""
        from pydantic_core.core_schema import no_info_after_validator_function as after  # noqa: PLC0415  # slow

        return after(self._checked, handler(source))

    def __get_pydantic_json_schema__(self, core: Any, handler: Any) -> Any:
        """Add the values to the schema."""
        return handler(core) | {"enum": list(self.values)}

    def _checked(self, value: int) -> int:
        if value not in self.values:
            raise ValueError(" or ".join(map(str, self.values)))
        return value


@dataclass(frozen=True)
class OneOf:
    """Marks a union of dataclasses; `choose` names the class a table is meant for."""

    choose: Callable[[Mapping[str, Any]], str]

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> Any:
        """Check a table against the class it is meant for, and no other."""
        from pydantic_core.core_schema import tagged_union_schema  # noqa: PLC0415  # only when a file is read

        choices = {cls.__name__: handler.generate_schema(cls) for cls in get_args(source)}
        return tagged_union_schema(choices, discriminator=self.choose)


Number = Annotated[float, Interval(ge=-1e12, le=1e12)]  # far beyond anything that is measured
Sha256 = Annotated[str, Says("64 hexadecimal digits (0-9, a-f)", "^[0-9a-f]{64}$")]
Words = Annotated[str, Len(1, 2000), Says("text of 1 to 2000 characters", r"\S")]
