G1 X1
G1 X2

G1 X3
;
T0