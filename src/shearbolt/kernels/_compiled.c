#include <Python.h>
static struct PyModuleDef module = {PyModuleDef_HEAD_INIT, "_compiled", NULL, -1, NULL};
PyMODINIT_FUNC PyInit__compiled(void) { return PyModule_Create(&module); }
