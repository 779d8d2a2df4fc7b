#include "rig/cli/commands.hpp"

int main(int argc, char** argv) { return rig::proofstand(argc, argv); }
