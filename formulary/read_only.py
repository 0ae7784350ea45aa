"""A mapping that nobody can change, and that is a value like any other: compared, copied, kept in a file."""

from __future__ import annotations

from typing import Any, NoReturn, TypeVar

K = TypeVar("K")
V = TypeVar("V")


class ReadOnly(dict[K, V]):
    """A dict that refuses to be changed.

    Unlike a view of `types.MappingProxyType` it can be pickled and copied, by `dataclasses.asdict` too, so that results
    go from one process to another; and it has a hash where its values have, so that results can be kept by name.
    """

    __slots__ = ()

    def _refuse(self, *_given: object, **_named: object) -> NoReturn:
        raise TypeError("this mapping is read only; dict(...) of it is one to change")

    __setitem__ = __delitem__ = __ior__ = clear = pop = popitem = setdefault = update = _refuse

    def __hash__(self) -> int:  # type: ignore[override]
        return hash(frozenset(self.items()))

    def __copy__(self) -> ReadOnly[K, V]:
        return self

    def __reduce__(self) -> tuple[Any, ...]:
        return (ReadOnly, (dict(self),))
