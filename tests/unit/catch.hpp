#pragma once
// The one place that names Catch2's header, so that moving to its next major version is a change of one line.
#include <catch.hpp>
