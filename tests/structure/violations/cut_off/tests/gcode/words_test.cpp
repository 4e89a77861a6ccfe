TEST_CASE("letters, numbers; comments") {
  int i = 0; CHECK(i == 0);
}
TEST_CASE(
    "letters; numbers") {
}
TEST_CASE("letters, numbers") { CHECK(text == "a;b"); }
