#pragma once

#include <stdexcept>
#include <string>

namespace rig {

/// The store cannot do what was asked. Says what, where, and what to do next.
class StoreError : public std::runtime_error {
 public:
  enum class Kind {
    not_found,  ///< no such run, file or payload: the question was wrong
    ambiguous,  ///< a prefix that fits more than one run: the question was wrong
    refused,    ///< not a store, a newer store, another writer, a row that may not be written
    busy,       ///< another program holds the file
    behind,     ///< the disk does not keep up
    full,       ///< the disk is full
    io,         ///< the disk did not take or give the data
    damaged,    ///< the file's content is not what was written
  };
  StoreError(Kind kind, const std::string& where, const std::string& what, const std::string& remedy, int code = 0)
      : std::runtime_error{where + ": " + what + ". " + remedy}, kind_{kind}, code_{code} {}
  Kind kind() const { return kind_; }
  int code() const { return code_; }  ///< SQLite's extended result code; 0 when it was not SQLite
  /// The question was wrong, not the store: a usage error, not a storage error.
  bool is_bad_question() const { return kind_ == Kind::not_found || kind_ == Kind::ambiguous; }

 private:
  Kind kind_;
  int code_;
};

}  // namespace rig
