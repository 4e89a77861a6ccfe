#include "record_test_help.h"

using namespace forewarm;
using namespace forewarm::test;

namespace {
const std::string kName = "heat.csv";
}

TEST_CASE("csv: columns by name, in any order, others left out") {
  const auto rules = rules_of(kOne);
  const auto r = read_record(
      "drive,note,temp_c,target_c,time_s\n0.5,x,201.5,202,10\n1,,202,202,12.5\n", rules, kName);
  CHECK(r.said == "part 0 line 2\nash: 201.5/202 drive 0.5 @0\nash: 202/202 drive 1 @2.5\n");
  CHECK(r.summary.form == record::Summary::Form::csv);
  CHECK(r.summary.lines == 3);
  CHECK(r.summary.samples == 2);
  CHECK(r.summary.heaters.size() == 1);
  CHECK(r.summary.heaters[0].head == 0U);
}

TEST_CASE("csv: semicolons, tabs, per cent, stamps, CR, a byte order mark, quotes") {
  const auto rules = rules_of(kThree);
  CHECK(read_record("\xef\xbb\xbftime;temp_c;drive_percent;heater\r\n"
                    "2026-03-05T23:59:59.5;201,5;50;birch\r\n2026-03-06 00:00:01Z;202;100;2\r\n",
                    rules, kName)
            .said == "part 0 line 2\nbirch: 201.5 drive 0.5 @0\ncedar: 202 drive 1 @1.5\n");
  CHECK(read_record("\"time_s\"\t\"temp_c\"\t\"heater\"\n1\t20\t\"chamber, \"\"left\"\"\nblock\"\n"
                    "2\t21\t0\n",
                    rules, kName)
            .said == "part 0 line 3\nchamber, \"left\"\nblock: 20 @0\nash: 21 @1\n");
  CHECK(read_record("time_s,temp_c,heater\n0,20,1\n1e1,2.05e1,1\n", rules, kName).said ==
        "part 0 line 2\nbirch: 20 @0\nbirch: 20.5 @10\n");
}

TEST_CASE("csv: without a heater column, it is the only one, or one without a name") {
  CHECK(read_record("time_s,temp_c\n0,20\n", rules_of(kThree), kName).said ==
        "part 0 line 2\nheater: 20 @0\n");
  CHECK(read_record("time_s,temp_c\n0,20\n", rules_of(kOne), kName).said ==
        "part 0 line 2\nash: 20 @0\n");
}

TEST_CASE("csv: what is missing, repeated, damaged or cut off is left out, and counted") {
  std::string text = "time_s,temp_c,target_c\n0,20,\n0,20,\n1,,200\n2,nan,200\n3,99999,200\n";
  text += std::string("4,\0\0\0\n", 6) + "\n5,25,200\n6,2";
  const auto r = read_record(text, rules_of(kOne), kName);
  CHECK(r.said == "part 0 line 2\nash: 20 @0\nash: 25/200 @5\n");
  CHECK(r.summary.samples == 2);
  CHECK(r.summary.repeated == 1);
  CHECK(r.summary.missing == 3);
  CHECK(r.summary.damaged == 1);
  CHECK(r.summary.cut_off);
}

TEST_CASE("csv: a clock that is set back or stands still for long begins a new part") {
  const auto r = read_record("time_s,temp_c\n100,20\n101,21\n100.5,22\n50,23\n51,24\n700,25\n",
                             rules_of(kOne), kName);
  CHECK(r.said ==
        "part 0 line 2\nash: 20 @0\nash: 21 @1\nash: 22 @1\npart -50 line 5\nash: 23 @-50\n"
        "ash: 24 @-49\npart 600 line 7\nash: 25 @600\n");
  CHECK(r.summary.parts == 3);
  CHECK(r.summary.from_s == -50);
  CHECK(r.summary.to_s == 600);
}

TEST_CASE("csv: what cannot be read is refused where it stands") {
  const auto rules = rules_of(kOne);
  const std::string head = "time_s,temp_c,drive\n";
  const std::string columns =
      "\n  hint: the first row names the columns: time_s or time, temp_c, and where there are "
      "target_c, drive or drive_percent, heater";
  struct Case {
    std::string text, says;
  };
  for (const Case& c : {
           Case{"t,temp_c\n1,2\n",
                "heat.csv:1:1: no column is called time_s or time\n  t,temp_c\n  ^" + columns},
           Case{"time_s,temp\n1,2\n",
                "heat.csv:1:1: no column is called temp_c\n  time_s,temp\n  ^" + columns},
           Case{"time_s,temp_c,time\n",
                "heat.csv:1:15: column \"time\" says again what column 1 "
                "says\n  time_s,temp_c,time\n                ^"},
           Case{head + "1,20\n",
                "heat.csv:2:5: this row has 2 fields, and the header 3\n  1,20\n"
                "      ^"},
           Case{head + "1,20,0,0\n",
                "heat.csv:2:9: this row has 4 fields, and the header 3\n  1,20,0,0\n          ^"},
           Case{head + "1,20,0\nnoon,20,0\n",
                "heat.csv:3:1: \"noon\" is no number of seconds\n  noon,20,0\n  ^"},
           Case{head + "1,warm,0\n", "heat.csv:2:3: \"warm\" is no temperature\n  1,warm,0\n    ^"},
           Case{head + "1,20.5.1,0\n",
                "heat.csv:2:3: \"20.5.1\" is no temperature\n  1,20.5.1,0\n    ^"},
           Case{head + "1,20,64\n",
                "heat.csv:2:6: drive must be from 0 to 1, not 64\n  1,20,64\n       ^\n  hint: a "
                "column of per cent is called drive_percent"},
           Case{head + "1,20,-0.1\n",
                "heat.csv:2:6: drive must be from 0 to 1, not -0.1\n  1,20,-0.1\n       ^\n  hint: "
                "a column of per cent is called drive_percent"},
           Case{"time,temp_c\n7,20\n",
                "heat.csv:2:1: \"7\" is no time such as 2026-05-04T18:30:05.25\n  7,20\n  ^"},
           Case{head + "1,\"20,0\n2,20,0\n",
                "heat.csv:2:3: this quote is not closed\n  1,\"20,0\n    ^"},
           Case{"", "heat.csv: the record is empty"},
           Case{std::string("\xff\xfet\0i\0", 6),
                "heat.csv: the record is UTF-16\n  hint: save it as UTF-8 first"},
           Case{head, "heat.csv: the record has no temperature, no echo, no stop and no select"},
       }) {
    CHECK(refused(c.text, rules, kName) == c.says);
  }
  CHECK(refused(head + std::string(70000, 'x') + '\n', rules, kName) ==
        "heat.csv:2: this line has more than 65536 bytes, which no log has");
}
