"""The one compiled part: optional, stable ABI, so that one build serves every Python from 3.11."""

from setuptools import Extension, setup

setup(
    ext_modules=[
        Extension(
            "shearbolt.kernels._compiled",
            sources=["src/shearbolt/kernels/_compiled.c"],
            define_macros=[("Py_LIMITED_API", "0x030B0000")],
            extra_compile_args=["-O3"],
            py_limited_api=True,
            optional=True,
        )
    ],
    options={"bdist_wheel": {"py_limited_api": "cp311"}},
)
