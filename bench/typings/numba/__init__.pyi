# The part of numba that hipwright uses: a compiled function keeps its Python signature.
from collections.abc import Callable
from typing import Any, TypeVar, overload

_Function = TypeVar("_Function", bound=Callable[..., Any])

@overload
def njit(function: _Function, /) -> _Function: ...
@overload
def njit(
    *signatures: str,
    cache: bool = ...,
    error_model: str = ...,
    fastmath: bool = ...,
    inline: str = ...,
    nogil: bool = ...,
    parallel: bool = ...,
) -> Callable[[_Function], _Function]: ...

prange = range

def get_num_threads() -> int: ...
def set_num_threads(n: int, /) -> None: ...
def __getattr__(name: str) -> Any: ...
