in vec3 at;
in vec3 n;
in vec2 ms;
out vec4 colour;
uniform vec3 hole;
void main() {
    colour = vec4(hole, 1.0);
    gl_FragDepth = 1.0;  // opens the bed: what lies below is painted afterwards
}
