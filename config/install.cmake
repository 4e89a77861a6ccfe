# What `cmake --install` puts where, and what the package forewarm_VERSION_ARCHITECTURE.deb is made of.
include(GNUInstallDirs)

install(TARGETS forewarm)
install(FILES config/LICENSE config/changelog README.md DESTINATION ${CMAKE_INSTALL_DOCDIR})
# README.md leads to the texts and shows the picture: both keep their places beside it.
file(GLOB texts RELATIVE ${CMAKE_SOURCE_DIR} CONFIGURE_DEPENDS ${CMAKE_SOURCE_DIR}/src/*/*.md)
list(FILTER texts EXCLUDE REGEX "/inside.md$")  # for contributors
foreach(text IN LISTS texts ITEMS fixtures/timeline.svg)
  get_filename_component(folder ${text} DIRECTORY)
  install(FILES ${text} DESTINATION ${CMAKE_INSTALL_DOCDIR}/${folder})
endforeach()
install(FILES config/default.toml config/demo.toml DESTINATION ${CMAKE_INSTALL_DOCDIR}/examples)
# The pages and the completions are made by the build, as the tables of the program have them.
install(DIRECTORY ${CMAKE_BINARY_DIR}/man/ DESTINATION ${CMAKE_INSTALL_MANDIR}/man1
        FILES_MATCHING PATTERN *.1)
install(DIRECTORY ${CMAKE_BINARY_DIR}/man/ DESTINATION ${CMAKE_INSTALL_MANDIR}/man5
        FILES_MATCHING PATTERN *.5)
install(FILES ${CMAKE_BINARY_DIR}/completions/forewarm.bash RENAME forewarm
        DESTINATION ${CMAKE_INSTALL_DATADIR}/bash-completion/completions)
install(FILES ${CMAKE_BINARY_DIR}/completions/_forewarm
        DESTINATION ${CMAKE_INSTALL_DATADIR}/zsh/site-functions)
install(FILES ${CMAKE_BINARY_DIR}/completions/forewarm.fish
        DESTINATION ${CMAKE_INSTALL_DATADIR}/fish/vendor_completions.d)
install(FILES ${CMAKE_BINARY_DIR}/rules.schema.json ${CMAKE_SOURCE_DIR}/config/page.schema.json
        DESTINATION ${CMAKE_INSTALL_DATADIR}/forewarm)
# The licences of what is compiled in, which ask to be handed on. Debian keeps them beside its
# packages; elsewhere they are left out.
foreach(of libcli11-dev libeigen3-dev libfast-float-dev libfmt-dev libre2-dev libspdlog-dev
        libtomlplusplus-dev libxxhash-dev nlohmann-json3-dev libc6-dev libstdc++-12-dev)
  install(FILES /usr/share/doc/${of}/copyright OPTIONAL RENAME ${of}.txt
          DESTINATION ${CMAKE_INSTALL_DOCDIR}/compiled-in)
endforeach()

set(CPACK_GENERATOR DEB)
set(CPACK_PACKAGE_NAME forewarm)
set(CPACK_PACKAGE_VENDOR "the forewarm authors")
set(CPACK_PACKAGE_CONTACT "the forewarm authors <authors@forewarm.invalid>")
set(CPACK_PACKAGE_DESCRIPTION_SUMMARY "heating planner for jobs of multi-toolhead 3D printers")
set(CPACK_PACKAGING_INSTALL_PREFIX /usr)
set(CPACK_STRIP_FILES ON)
set(CPACK_INSTALL_DEFAULT_DIRECTORY_PERMISSIONS OWNER_READ OWNER_WRITE OWNER_EXECUTE
    GROUP_READ GROUP_EXECUTE WORLD_READ WORLD_EXECUTE)
set(CPACK_PRE_BUILD_SCRIPTS ${CMAKE_SOURCE_DIR}/config/deb.cmake)
set(CPACK_DEBIAN_FILE_NAME DEB-DEFAULT)
set(CPACK_DEBIAN_PACKAGE_SECTION utils)
set(CPACK_DEBIAN_PACKAGE_SHLIBDEPS ON)
set(CPACK_DEBIAN_PACKAGE_DESCRIPTION
"forewarm reads a sliced job (G-code) for a 3D printer with several toolheads,
works out when everything in it will happen, and inserts the commands that
each heater needs: early preheats, standby, shutdown, and waits that are over
at once when the heater is ready. A rule file describes the machine. The
original job can be restored, byte for byte.")
include(CPack)
