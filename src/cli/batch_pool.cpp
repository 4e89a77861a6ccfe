#include "cli/batch_pool.h"

#include <algorithm>
#include <atomic>
#include <chrono>
#include <condition_variable>
#include <mutex>
#include <thread>
#include <vector>

namespace forewarm::cli {

void in_parallel(std::size_t count, unsigned threads, const std::function<void(std::size_t)>& work,
                 const std::function<void(std::size_t)>& ended, const std::function<void()>& tick) {
  constexpr std::chrono::milliseconds kTick{100};
  std::atomic<std::size_t> next{0};
  std::mutex mutex;
  std::condition_variable some;
  std::vector<std::size_t> fresh;  // ended, and not yet reported

  std::vector<std::jthread> workers;
  const std::size_t wanted = std::min<std::size_t>(std::max(threads, 1U), count);
  workers.reserve(wanted);
  for (std::size_t t = 0; t < wanted; ++t) {
    workers.emplace_back([&] {
      for (std::size_t i = next++; i < count; i = next++) {
        work(i);
        const std::lock_guard lock(mutex);
        fresh.push_back(i);
        some.notify_one();
      }
    });
  }
  for (std::size_t said = 0; said < count;) {
    std::vector<std::size_t> now;
    {
      std::unique_lock lock(mutex);
      (void)some.wait_for(lock, kTick, [&] { return !fresh.empty(); });
      now.swap(fresh);
    }
    for (const std::size_t i : now) ended(i);
    said += now.size();
    tick();
  }
}

}  // namespace forewarm::cli
