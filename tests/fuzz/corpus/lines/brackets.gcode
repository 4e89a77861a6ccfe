(all) G1 (in) X1 (to) Y2
G1 X1 (open
/G1 X1
//G1
/N1 G1
%
:a
