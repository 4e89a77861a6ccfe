#M117 5 left; of 7
M118 E1 hello
M486 A"stone (a)"
M23 /map.gco
M0 wait
M1175 X1
