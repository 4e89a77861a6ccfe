// What went wrong, where, and what to do about it; and Result, which carries it.
//
// Contract: no exception crosses a layer. A function that can fail returns Result<T> (or Status),
// which the compiler will not let a caller drop. `line` and `column` count from 1, columns in
// characters of UTF-8; 0 means "no such place". `excerpt` is the offending line without its line
// ending; render() draws the caret under `column`, cuts very long lines around it and replaces
// control characters everywhere, so that nothing from a job reaches a terminal raw.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <utility>
#include <variant>

namespace forewarm {

struct Error {
  enum class Kind {
    usage,     // the command line
    rules,     // the rule file
    refused,   // the job cannot be handled safely
    io,        // reading or writing failed
    internal,  // our own bug
  };

  Kind kind = Kind::internal;
  std::string message;
  std::string file = {};
  std::uint64_t line = 0;
  std::uint64_t column = 0;
  std::string excerpt = {};
  std::string hint = {};
};

// "file:line:column: message", then, where known, the line, a caret and the hint.
[[nodiscard]] std::string render(const Error& error);

// `text` with each byte of a control character (but not tab) replaced by '?' and each byte that is
// no UTF-8 by U+FFFD; cut to the characters within `limit` bytes of `text`, with "...".
[[nodiscard]] std::string printable(std::string_view text, std::size_t limit = 160);

// Characters of `text`, as columns count them; a byte that is no UTF-8 is one.
[[nodiscard]] std::size_t characters(std::string_view text);

template <class T>
class [[nodiscard]] Result {
 public:
  Result(T value) : state_(std::move(value)) {}      // NOLINT: values convert
  Result(Error error) : state_(std::move(error)) {}  // NOLINT: errors convert

  [[nodiscard]] bool ok() const { return state_.index() == 0; }
  explicit operator bool() const { return ok(); }

  // REQUIRES: ok().
  T& operator*() { return std::get<0>(state_); }
  const T& operator*() const { return std::get<0>(state_); }
  T* operator->() { return &std::get<0>(state_); }
  const T* operator->() const { return &std::get<0>(state_); }

  // REQUIRES: !ok().
  [[nodiscard]] Error& error() { return std::get<1>(state_); }
  [[nodiscard]] const Error& error() const { return std::get<1>(state_); }

 private:
  std::variant<T, Error> state_;
};

struct Done {};
using Status = Result<Done>;
[[nodiscard]] inline Status success() { return Done{}; }

}  // namespace forewarm
