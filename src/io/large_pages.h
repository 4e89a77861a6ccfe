// Asks the kernel to back the heap with large pages, where it does.
//
// A page fault costs microseconds, on a virtual machine more than ten; planning a long job touches
// some megabytes for the first time, a few kilobytes at a time. With large pages that is a handful
// of faults instead of thousands. Changes nothing else; does nothing where the C library or the
// kernel has no such thing. For the main thread's heap only. Call once, before much is allocated.
#pragma once

namespace forewarm::io {

void use_large_pages();

}  // namespace forewarm::io
