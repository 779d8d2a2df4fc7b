#pragma once

#include <string>

#include "rig/store/sqlite.hpp"

/// The store's tables, and how older stores become newer ones: numbered steps of SQL inside the program, each applied
/// in one transaction, the SHA-256 of every applied step kept. To change the schema add a step; never edit one.
namespace rig {

constexpr std::int64_t kSchemaVersion = 2;           ///< kept in PRAGMA user_version
constexpr std::int64_t kApplicationId = 0x50737464;  ///< "Pstd", kept in PRAGMA application_id

/// Sets WAL and synchronous FULL, applies the steps that are missing. Throws StoreError (refused) for a file of another
/// program or of a newer version of this one.
void prepare_schema(sqlite::Connection& connection);
/// What a reader needs: a store that is no newer than this program. Returns its version: an older one is read as it is,
/// since no step takes a column away.
std::int64_t check_schema(sqlite::Connection& connection);
/// Applies the steps up to a version to an empty database; for verify, which compares a store's tables and triggers
/// with it.
void create_schema(sqlite::Connection& connection, std::int64_t version = kSchemaVersion);

}  // namespace rig
