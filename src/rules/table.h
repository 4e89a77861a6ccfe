// One table of the rule file, read by the descriptors of its section.
//
// Contract: a key can be asked for by its field only, so that none is read that the section does
// not describe. Unknown keys are reported at once. Internal to rules/.
#pragma once

#include <algorithm>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "rules/keys.h"
#include "rules/reader.h"

namespace forewarm::rules {

template <class T>
concept FieldPointer = std::is_member_object_pointer_v<T>;

template <class S>
class Table {
 public:
  // `where` is what messages call the table.
  Table(const toml::table& table, const Section<S>& section, std::string where,
        Diagnostics& diagnostics);
  Table(const toml::table& table, const Section<S>& section, Diagnostics& diagnostics)
      : Table(table, section, std::string(section.header), diagnostics) {}

  // Reads each key that is there and needs no other section; reports those that are wrong, and
  // those that are required and missing. Says whether all that are required were read.
  bool read(S& into);
  // Reads the one of that field, and says whether it was there and right.
  template <FieldPointer Member>
  bool read(Member field, S& into) {
    return read_key(section_.of(field), into);
  }
  // Reports a missing key, unless the table has an unknown one: that is reported already, and most
  // likely a slip for this one.
  bool need(const Key<S>& key) const { return need(key, key.hint); }
  bool need(const Key<S>& key, std::string_view hint) const { return table_.need(key.name, hint); }

  // Whether the key of that field was read, and right.
  template <FieldPointer Member>
  [[nodiscard]] bool was_read(Member field) const {
    return was_read(section_.of(field));
  }
  [[nodiscard]] bool was_read(const Key<S>& key) const {
    return std::find(read_.begin(), read_.end(), &key) != read_.end();
  }
  // Its value as it stands; null where it is left out.
  template <FieldPointer Member>
  [[nodiscard]] const toml::node* node(Member field) const {
    return table_.find(section_.of(field).name);
  }
  [[nodiscard]] const toml::node* node(const Key<S>& key) const { return table_.find(key.name); }
  template <FieldPointer Member>
  [[nodiscard]] bool has(Member field) const {
    return node(field) != nullptr;
  }
  [[nodiscard]] bool has(const Key<S>& key) const { return node(key) != nullptr; }
  // Of its value, or of the table where it is left out.
  template <FieldPointer Member>
  [[nodiscard]] Position at(Member field) const {
    return table_.at(section_.of(field).name);
  }
  [[nodiscard]] Position at(const Key<S>& key) const { return table_.at(key.name); }
  template <FieldPointer Member>
  [[nodiscard]] Position at_key(Member field) const {
    return table_.at_key(section_.of(field).name);
  }
  [[nodiscard]] Position at_key(const Key<S>& key) const { return table_.at_key(key.name); }
  [[nodiscard]] Position at() const { return table_.at(); }

  // Sections in this one. Of one with names of the user's own, the table of those names.
  template <class Inner>
  [[nodiscard]] std::optional<Table<Inner>> one(const Section<Inner>& inner) const {
    const toml::table* raw = table_.open_table(inner.name);
    if (raw == nullptr) return std::nullopt;
    return Table<Inner>(*raw, inner, diagnostics());
  }
  [[nodiscard]] std::vector<const toml::table*> list(const SectionInfo& inner) const {
    return table_.tables(inner.name);
  }
  [[nodiscard]] const toml::table* named(const SectionInfo& inner) const {
    return table_.open_table(inner.name);
  }
  [[nodiscard]] const toml::node* node(const SectionInfo& inner) const {
    return table_.find(inner.name);
  }

  [[nodiscard]] const Section<S>& section() const { return section_; }
  [[nodiscard]] Diagnostics& diagnostics() const { return table_.diagnostics(); }

 private:
  bool read_key(const Key<S>& key, S& into);

  RawTable table_;
  const Section<S>& section_;
  std::vector<const Key<S>*> read_;
};

}  // namespace forewarm::rules
