from tapplan.design.places import key_lines, line_of

TEXT = '''\
top = 1
"quoted key" = 2
[mains]
range_v = [
  1,  # [not a header]
  2,
]
text = """
[not.a.header]
key = 3
"""
[[winding]]
name = "a"  # comment with [ bracket
[[winding]]
name = 'b'
ends.first = 1
[winding.inner]
deep = { a = 1, b = [2, 3] }
after = 1
'''


def test_every_key_has_its_line() -> None:
    lines = key_lines(TEXT)
    assert lines["top",] == 1
    assert lines["quoted key",] == 2
    assert lines["mains",] == 3
    assert lines["mains", "range_v"] == 4
    assert lines["mains", "text"] == 8
    assert lines["winding", 0] == 12
    assert lines["winding", 0, "name"] == 13
    assert lines["winding", 1, "name"] == 15
    assert lines["winding", 1, "ends", "first"] == 16
    assert lines["winding", "inner", "after"] == 19
    assert not any("not" in path for path in lines)


def test_an_unknown_place_falls_back_to_the_table_around_it() -> None:
    lines = key_lines(TEXT)
    assert line_of(lines, ("winding", 1, "turns")) == 14
    assert line_of(lines, ("nowhere", 1)) is None
