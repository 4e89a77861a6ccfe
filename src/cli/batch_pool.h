// Runs numbered pieces of work on several threads, and says on one thread what has ended.
//
// Contract: work(i) is called once for each i below `count`, on any of `threads` threads, begun in
// ascending order; it must not throw. ended(i) is called for each on the calling thread, in the
// order in which they end, and sees all that work(i) wrote. tick() is called there now and then,
// some ten times a second. Returns when all has ended.
#pragma once

#include <cstddef>
#include <functional>

namespace forewarm::cli {

void in_parallel(std::size_t count, unsigned threads, const std::function<void(std::size_t)>& work,
                 const std::function<void(std::size_t)>& ended, const std::function<void()>& tick);

}  // namespace forewarm::cli
