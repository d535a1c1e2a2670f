"""Kernels that call kernels, optimised once, where Python calls them.

numba makes machine code of every function, and optimises anew all that a function calls, level by level: of some three hundred functions
a flight needs the machine code of one. Here a kernel that another kernel calls stays as its compiler's first form of it (its `inner` form); the one that
Python calls is linked with all of them, near and far, and optimised as a whole. That is half the time, and rounding cannot depend
on which of them was compiled before.
"""

from __future__ import annotations

from functools import cached_property

from numba import types
from numba.core.codegen import JITCodeLibrary
from numba.core.compiler import CompilerBase, DefaultPassBuilder
from numba.core.compiler_machinery import register_pass
from numba.core.registry import CPUDispatcher
from numba.core.typed_passes import BaseNativeLowering, NativeLowering

from sixdof._jit.progress import told
from sixdof._jit.store import KernelCache


class _InnerLibrary(JITCodeLibrary):
    """The code of one inner kernel: it is linked into others, never run, and links nothing itself."""

    def finalize(self):
        self._finalized = True


class _OuterLibrary(JITCodeLibrary):
    """The code of a kernel that Python calls, with all that it calls, near and far."""

    def finalize(self):
        self._own = {function.name for function in self._final_module.functions if not function.is_declaration}
        super().finalize()

    def _optimize_final_module(self):
        # what nobody else can call may be changed as a whole: arguments that are not used go (four of an array's seven words), what is called once is inlined
        for function in self._final_module.functions:
            if not function.is_declaration and function.name not in self._own:
                function.linkage = "internal"
        super()._optimize_final_module()

    def add_linking_library(self, library):
        if library in self._linking_libraries:
            return
        super().add_linking_library(library)
        if isinstance(library, _InnerLibrary):
            for each in library._linking_libraries:
                self.add_linking_library(each)


class _Lowering(NativeLowering):
    library: type

    def run_pass(self, state):
        state.library = self.library(state.targetctx.codegen(), state.func_id.func_qualname)
        state.library.enable_object_caching()
        return super().run_pass(state)


@register_pass(mutates_CFG=True, analysis_only=False)
class _OuterLowering(_Lowering):
    _name = "sixdof-outer-lowering"
    library = _OuterLibrary


@register_pass(mutates_CFG=True, analysis_only=False)
class _InnerLowering(_Lowering):
    _name = "sixdof-inner-lowering"
    library = _InnerLibrary

    def run_pass(self, state):
        state.flags.no_compile = state.flags.no_cpython_wrapper = state.flags.no_cfunc_wrapper = True
        done = super().run_pass(state)
        entry, lowered = object(), state["cr"]  # by which numba finds the function again; nobody calls it
        state.targetctx.insert_user_function(entry, lowered.fndesc, [state.library])
        state["cr"] = lowered._replace(cfunc=entry)
        return done


def _compiler(lowering: type[BaseNativeLowering]) -> type[CompilerBase]:
    class Compiler(CompilerBase):
        def define_pipelines(self):
            passes = DefaultPassBuilder.define_nopython_pipeline(self.state)
            passes.passes = [(lowering if each is NativeLowering else each, text) for each, text in passes.passes]
            passes._finalized = False
            passes.finalize()
            return [passes]

    return Compiler


_INNER, _OUTER = _compiler(_InnerLowering), _compiler(_OuterLowering)


class _Inner(CPUDispatcher):
    """A kernel as other kernels call it."""

    def add_overload(self, cres):
        self.overloads[tuple(cres.signature.args)] = cres


class Kernel(CPUDispatcher):
    """A kernel as Python calls it; other kernels see its inner form. kept : on disk."""

    def __init__(self, function, options: dict, kept: bool):
        super().__init__(function, targetoptions=options | {"nopython": True, "no_cfunc_wrapper": True}, pipeline_class=_OUTER)
        if kept:
            self._cache = KernelCache(function)

    @cached_property
    def inner(self) -> CPUDispatcher:
        """What kernels call."""
        return _Inner(self.py_func, targetoptions=self.targetoptions, pipeline_class=_INNER)

    @property
    def _numba_type_(self):
        return types.Dispatcher(self.inner)

    def compile(self, sig):
        """Compile for a signature, or read from disk what was compiled before; a person is told of the first."""
        known, name = sum(self._cache_misses.values()), f"{self.py_func.__module__}.{self.py_func.__name__}"
        with told(f"compiling {name}, once for this version", lambda: sum(self._cache_misses.values()) > known):
            return super().compile(sig)
