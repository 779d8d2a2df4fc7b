// The one file of the library whose precompiled headers every test program takes over.
#include "tests/unit/catch.hpp"
