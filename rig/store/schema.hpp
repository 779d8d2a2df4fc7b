#pragma once

#include <string>

#include "rig/store/sqlite.hpp"

/// The store's tables, and how older stores become newer ones: numbered steps of SQL inside the program, each applied
/// in one transaction, the SHA-256 of every applied step kept. To change the schema add a step; never edit one.
namespace rig {

constexpr std::int64_t kSchemaVersion = 1;           ///< kept in PRAGMA user_version
constexpr std::int64_t kApplicationId = 0x50737464;  ///< "Pstd", kept in PRAGMA application_id

/// Sets WAL and synchronous FULL, applies the steps that are missing. Throws StoreError (refused) for a file of another
/// program or of a newer version of this one.
void prepare_schema(sqlite::Connection& connection);
/// What a reader needs: a store, no newer and no older than this program.
void check_schema(sqlite::Connection& connection);
/// Applies all steps to an empty database; for verify, which compares a store's tables and triggers with it.
void create_schema(sqlite::Connection& connection);

}  // namespace rig
