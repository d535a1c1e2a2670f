"""Which of numba's compilers the kernels are for: the processor's, or with SIXDOF_TARGET=cuda that of a GPU (extra `gpu`).

Both have the same parts under other names; all else in this room takes them from here.
"""

from __future__ import annotations

import os

import numba

ON_GPU = os.environ.get("SIXDOF_TARGET") == "cuda"
AS_PYTHON = bool(numba.config.DISABLE_JIT) and not ON_GPU  # kernels are plain Python, for coverage and debuggers

if ON_GPU:
    from numba.cuda import cgutils, types
    from numba.cuda.cudadecl import registry as _typing
    from numba.cuda.cudaimpl import registry as _lowering
    from numba.cuda.datamodel import models
    from numba.cuda.extending import intrinsic, register_model
    from numba.cuda.np.numpy_support import from_dtype
    from numba.cuda.typing.templates import AbstractTemplate, AttributeTemplate, signature
    from numba.cuda.typing.typeof import typeof_impl

    infer_getattr, infer_global = _typing.register_attr, _typing.register_global
    lower_builtin, lower_cast = _lowering.lower, _lowering.lower_cast
    lower_getattr_generic, lower_setattr_generic = _lowering.lower_getattr_generic, _lowering.lower_setattr_generic
else:
    from numba import from_dtype, types
    from numba.core import cgutils
    from numba.core.imputils import lower_builtin, lower_cast, lower_getattr_generic, lower_setattr_generic
    from numba.core.typing.templates import AbstractTemplate, AttributeTemplate, infer_getattr, infer_global, signature
    from numba.extending import intrinsic, models, register_model, typeof_impl

__all__ = [
    "AS_PYTHON",
    "ON_GPU",
    "AbstractTemplate",
    "AttributeTemplate",
    "cgutils",
    "from_dtype",
    "infer_getattr",
    "infer_global",
    "intrinsic",
    "lower_builtin",
    "lower_cast",
    "lower_getattr_generic",
    "lower_setattr_generic",
    "models",
    "register_model",
    "signature",
    "typeof_impl",
    "types",
]
