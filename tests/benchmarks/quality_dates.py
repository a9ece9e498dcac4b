"""How many everyday dates are understood: run ``python tests/benchmarks/quality_dates.py``.

The phrases are invented after the ways in which people date photographs on backs, in albums and lists; the expected
EDTF was written by hand before the first run. ``ask`` expects a question and no choice, ``text`` expects that the
words are kept as they are. A wrong answer that comes with a question counts as asked, not as wrong.
"""

from __future__ import annotations

from surrogate.description.dates import understand

PHRASES = """
1943 | 1943
1943. | 1943
"1943" | 1943
(1943) | 1943
in 1943 | 1943
Taken 1943 | 1943
dated 1943 | 1943
year 1943 | 1943
about 1943 | 1943~
About 1943 | 1943~
abt. 1943 | 1943~
c1943 | 1943~
c. 1943 | 1943~
Ca. 1943 | 1943~
CIRCA 1943 | 1943~
approx 1943 | 1943~
approximately 1943 | 1943~
around 1943 | 1943~
roughly 1943 | 1943~
~1943 | 1943~
1943 (approx.) | 1943~
1943 or thereabouts | 1943~
possibly 1943 | 1943?
1943 ? | 1943?
1943(?) | 1943?
I think 1943 | 1943?
1943, maybe | 1943?
probably about 1943 | 1943%
c. 1943? | 1943%
1940's | 194X
the 1940s | 194X
1940s? | 194X?
about 1940s | 194X~
late 1940s | 1947~/1949~
Early 1960's | 1960~/1963~
mid 1930s | 1934~/1936~
mid to late 1930s | 1934~/1939~
late 1930s or early 1940s | 1937~/1943~
1920s-1930s | 192X/193X
1920s or 1930s | [192X,193X]
second half of the 1950s | 1955/1959
19th century | 18XX
late 19th century | 1867~/1899~
turn of the century | text
first half of the 20th century | 1900/1949
Spring 1961 | 1961-21
summer of 1961 | 1961-22
Fall 1961 | 1961-23
autumn, 1961 | 1961-23
Winter 1961-62 | 1961-12~/1962-02~
winter of 1961/1962 | 1961-12~/1962-02~
Summer holidays 1961 | text
May 1961 | 1961-05
May, 1961 | 1961-05
Sept. 1961 | 1961-09
Sept 1961? | 1961-09?
c. May 1961 | 1961-05~
early May 1961 | 1961-05-01~/1961-05-10~
June/July 1961 | 1961-06/1961-07
June or July 1961 | [1961-06,1961-07]
May 12, 1961 | 1961-05-12
12 May 1961 | 1961-05-12
12th May 1961 | 1961-05-12
the 12th of May 1961 | 1961-05-12
Friday 12 May 1961 | 1961-05-12
12-MAY-1961 | 1961-05-12
12. 5. 1961 | ask
12/5/1961 | ask
5/12/1961 | ask
25/12/1961 | 1961-12-25
12/25/1961 | 1961-12-25
7/7/1961 | 1961-07-07
1961/05/12 | 1961-05-12
1961.05.12 | 1961-05-12
12/5/61 | ask
May '61 | ask
'61 | ask
5/1961 | 1961-05
1961-05 | 1961-05
before 1920 | /1920
Before the year 1920 | /1920
prior to 1920 | /1920
pre 1920 | /1920
pre-1920 | /1920
before about 1920 | /1920~
after 1945 | 1945/
post 1945 | 1945/
not before 1931 | [1931..]
not after 1931 | [..1931]
1931 or earlier | [..1931]
since May 1931 | 1931-05/..
between 1940 and 1945 | 1940/1945
between about 1940 and 1945 | 1940~/1945~
betw. 1940 & 1945 | 1940/1945
1940-1945 | 1940/1945
1940 - 45 | 1940/1945
1940/45 | 1940/1945
1940 to 1945 | 1940/1945
c.1940-45 | 1940~/1945~
1940 or 1941 | [1940,1941]
1940, 1941 or 1942 | [1940,1941,1942]
1940 and 1942 | {1940,1942}
3-5 June 1944 | 1944-06-03/1944-06-05
30 May - 2 June 1944 | 1944-05-30/1944-06-02
Easter 1957 | 1957-04-21~
Easter Sunday 1957 | 1957-04-21
Christmas 1952 | 1952-12-25~
Christmas Eve 1952 | 1952-12-24
Xmas '52 | ask
New Year's Day 1953 | 1953-01-01
Whitsun 1949 | 1949-06-05~
1900s | ask
the fifties | ask
during the war | text
when Dad was four | text
um 1910 | 1910~
vers 1910 | 1910~
verano de 1934 | 1934-22
1930er Jahre | 193X
14 juillet 1936 | 1936-07-14
"""

# A second list, written after the reading was corrected on the first, so that the figure does not flatter.
LATER = """Spring, 1938 | 1938-21
July 4, 1932 | 1932-07-04
4th of July 1932 | 1932-07-04
Fourth of July 1932 | 1932-07-04
Independence Day 1932 | 1932-07-04
Thanksgiving 1948 | 1948-11-25
Easter Monday 1936 | 1936-04-13
Good Friday 1936 | 1936-04-10
Pentecost 1936 | 1936-05-31~
New Year's 1950 | 1950-01-01~
Halloween 1955 | 1955-10-31
Hogmanay 1955 | text
Mother's Day 1961 | text
VE Day 1945 | 1945-05-08
Ostern 1938 | 1938-04-17~
Weihnachten 1941 | 1941-12-25~
Noël 1929 | 1929-12-25~
Pâques 1930 | 1930-04-20~
Sommer 1913 | 1913-22
im Herbst 1944 | 1944-23
Herbst 44 | ask
anno 1901 | 1901
ca. 1905-1910 | 1905~/1910~
zwischen 1905 und 1910 | 1905/1910
vor 1914 | /1914
nach 1918 | 1918/
1. Mai 1950 | 1950-05-01
3.III.1927 | 1927-03-03
le 3 mars 1927 | 1927-03-03
1er mai 1936 | 1936-05-01
entre 1920 et 1925 | 1920/1925
avant 1914 | /1914
après 1918 | 1918/
années 20 | ask
les années 1920 | 192X
hacia 1900 | 1900~
3 de mayo de 1927 | 1927-05-03
antes de 1936 | /1936
años 30 | ask
circa 1880 | 1880~
primavera 1922 | 1922-21
anni '30 | ask
omstreeks 1900 | 1900~
ca 1900-1905 | 1900~/1905~
omkring 1900 | 1900~
sommaren 1912 | 1912-22
1930-talet | 193X
lato 1939 | 1939-22
okolo 1910 | 1910~
3 мая 1927 г. | 1927-05-03
лето 1912 | 1912-22
1927年 | 1927
昭和3年 | 1928
大正12年9月1日 | 1923-09-01
約1930年 | 1930~
1930年代 | 193X
1234 Elm Street | text
No. 1943 | text
May Smith, 1943 | text
August Holm 1922 | text
age 5 in 1943 | text
born 1943 | text
negative 12 of 24 | text
3 | text
May | text
summer | text
last summer | text
1943 Ford | text
printed 1961 from a 1920 negative | text
12 | text
43 | ask
1943x | text
19433 | text
1943-1934 | ask
31 June 1950 | text
30/2/1950 | text
Feb 29, 1943 | text
29 Feb 1944 | 1944-02-29
1850s-60s | 185X/186X
1920s-30s | 192X/193X
1918/1919 | 1918/1919
1918-19 | 1918/1919
1918 - 1919? | 1918?/1919?
winter 1946/7 | 1946-12~/1947-02~
Dec. 1946/Jan. 1947 | 1946-12/1947-01
Christmas 1946 - Easter 1947 | 1946-12-25~/1947-04-06~
June 1944-May 1945 | 1944-06/1945-05
Jun-Aug 1951 | 1951-06/1951-08
end of June 1951 | 1951-06-21~/1951-06-30~
beginning of 1951 | 1951-01~/1951-04~
Mid-June 1951 | 1951-06-11~/1951-06-20~
within 1940-1945 | 1940/1945
some time between 1940 and 1945 | 1940/1945
1940-1945 (probably 1943) | text
1943 (on back) | text
1943 - ? | 1943/
? - 1943 | /1943
1943- | 1943/
-1943 | text
1943 - present | text
1960s (early) | 1960~/1963~
50s | ask
fifties | ask
nineteen forties | 194X
1st quarter of the 20th century | text
20th c. | 19XX
XIX century | 18XX
1800s | ask
2nd May 1936 | 1936-05-02
May 2nd 1936 | 1936-05-02
Sat., May 2, 1936 | 1936-05-02
2.5.36 | ask
2 V 1936 | 1936-05-02
05.1936 | 1936-05
1936/5/2 | 1936-05-02
1936 May | 1936-05
1936, May 2 | 1936-05-02
about Easter 1957 | 1957-04-21~
shortly before 1920 | text
shortly after the war | text
1920 at the latest | [..1920]
no earlier than 1920 | [1920..]
"""


def right(phrase: str, expected: str) -> bool:
    """True when the answer is the expected one."""
    answer = understand(phrase)
    if expected == "ask":
        return answer.edtf is None and answer.question is not None
    return answer.edtf == (None if expected == "text" else expected)


def report(name: str, phrases: str) -> None:
    """Print the share of phrases that were understood and every other one."""
    rows = [
        (phrase, expected) for phrase, _, expected in (line.partition(" | ") for line in phrases.split("\n") if line)
    ]
    missed = [(phrase, expected) for phrase, expected in rows if not right(phrase, expected)]
    silent = [
        (phrase, expected)
        for phrase, expected in missed
        if understand(phrase).edtf is not None and understand(phrase).question is None
    ]
    print(
        f"{name}: {len(rows)} phrases, {1 - len(missed) / len(rows):.3f} right, {len(silent)} wrong without a question"
    )
    for phrase, expected in missed:
        answer = understand(phrase)
        print(f"  {phrase!r}: expected {expected}, got {answer.edtf}  {answer.question or ''}")


def main() -> None:
    """Print both lists' figures."""
    report("first list", PHRASES)
    report("second list", LATER)


if __name__ == "__main__":
    main()
