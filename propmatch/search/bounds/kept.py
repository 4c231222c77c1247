"""The last few things made, by what they were made of: a search under slightly other limits makes little anew."""

from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Generic, TypeVar

__all__ = ["Kept"]

T = TypeVar("T")


class Kept(Generic[T]):
    """At most so many, the one asked for longest ago goes first."""

    def __init__(self, most: int) -> None:
        self.most = most
        self._held: OrderedDict[Hashable, T] = OrderedDict()

    def get(self, key: Hashable, make: Callable[[], T], *, keep: bool = True) -> T:
        """What stands under a key, made where nothing does."""
        if key not in self._held:
            if not keep:
                return make()
            self._held[key] = make()
            if len(self._held) > self.most:
                self._held.popitem(last=False)
        self._held.move_to_end(key)
        return self._held[key]
