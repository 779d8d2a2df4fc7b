#pragma once

#include <optional>
#include <string>

#include "rig/compile/load.hpp"
#include "rig/compile/yaml_reader_map.hpp"

/// What the three loaders share: a file's bytes, its first key, and the files it may refer to.
namespace rig {

/// The tree of a file, with its bytes; nothing, and complaints, when it cannot be read or is no YAML that we take.
std::optional<yaml::Node> open_file(const std::string& path, SourceFile& source, yaml::PlacedComplaints& complaints);

/// The bytes of a file of a kind ("CSV"); false, with a complaint, when they cannot be read.
bool read_file(const std::string& path, std::string_view kind, SourceFile& source, yaml::PlacedComplaints& complaints);

/// "product", "scenario", "bench": also the name of the first key of such a file.
std::string_view word(FileKind kind);

/// Which kind of file the first key says it is.
std::optional<FileKind> kind_of(const yaml::Node& root);

/// Holds the first key against what is wanted: the kind, first, with a format number that this program knows. Brings a
/// tree of an older format to the newest one. False, with a complaint, when reading on would only yield nonsense.
bool settle_format(yaml::Node& root, FileKind wanted, yaml::PlacedComplaints& complaints);

/// The path of a file that `from` refers to as `reference`: relative, inside the folder of `from`, also after symbolic
/// links are followed. Nothing, with a complaint at `place`, otherwise.
std::optional<std::string> referred_path(const std::string& from, const std::string& reference, yaml::Place place,
                                         yaml::PlacedComplaints& complaints);

}  // namespace rig
